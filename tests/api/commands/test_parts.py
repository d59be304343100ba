"""`tracehold evaluate` with a pattern or a cluster: what is refused before anything is decided."""

from __future__ import annotations

import json
import sys

import pytest
from click.testing import CliRunner

from api.cli import main

ROWS = "id,value,U,upper,rule\na,1,0.1,2,mine\nb,ten,0.1,2,mine\n"
RULES = [{"id": "mine", "guard": {"basis": "U", "factor": "1"}, "zones": 2}]


@pytest.fixture
def run(tmp_path):
    """Evaluate the parts of a folder, with rules of its own."""
    for number in (1, 2):
        (tmp_path / f"part-{number}.csv").write_text(ROWS)
    (tmp_path / "rules.json").write_text(json.dumps(RULES))

    def invoke(*arguments):
        whole = ["evaluate", *map(str, arguments), "--rules", str(tmp_path / "rules.json")]
        outcome = CliRunner(env={"COLUMNS": "120"}).invoke(main, whole)
        if outcome.exception is not None and not isinstance(outcome.exception, SystemExit):
            raise outcome.exception
        return outcome

    return invoke


def test_parts_go_to_stdout_in_their_order_with_the_totals_on_stderr(run, tmp_path):
    done = run(tmp_path / "part-*.csv", "--summary-line")
    assert done.exit_code == 5  # two rows are undecided
    lines = done.stdout.splitlines()
    assert [line[:2] for line in lines[1:]] == ["a,", "b,", "a,", "b,", "#s"]
    assert '"rows": 4' in lines[-1]
    assert "4 rows: 2 pass; 2 not decided" in done.stderr


def test_a_name_with_brackets_that_is_a_file_is_no_pattern(run, tmp_path):
    file = tmp_path / "part[1].csv"
    file.write_text(ROWS)
    assert "2 rows" in run(file).stderr


def test_a_folder_that_is_there_is_not_touched(run, tmp_path):
    (tmp_path / "out").mkdir()
    refused = run(tmp_path / "part-*.csv", "-o", tmp_path / "out")
    assert (refused.exit_code, list((tmp_path / "out").iterdir())) == (3, [])
    assert "exists already" in refused.stderr


def test_a_folder_needs_different_names(run, tmp_path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "part.csv").write_text(ROWS)
    refused = run(tmp_path / "*" / "part.csv", "-o", tmp_path / "out")
    assert (refused.exit_code, "two parts are named part.csv" in refused.stderr) == (3, True)


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["part-*.csv", "-o", "part-1.csv"], 3, "is one of the parts"),
        (["none-*.csv"], 3, "no file is named"),
        (["part-*.csv", "-o", "out.json"], 2, "come and go as .csv or .parquet"),
        (["part-*.csv", "--dask", "tcp://127.0.0.1:1"], 2, "--dask needs --output"),
        (["part-3.csv"], 2, "does not exist"),
        (["part-*.csv", "--rule", "unheard_of"], 2, "unknown rule"),
    ],
)
def test_what_cannot_be_is_refused(run, tmp_path, monkeypatch, arguments, code, said):
    monkeypatch.chdir(tmp_path)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    refused = run(*arguments)
    assert (refused.exit_code, said in refused.stderr) == (code, True), refused.stderr
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_missing_extra_is_named(run, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    refused = run(tmp_path / "part-1.csv", "-o", tmp_path / "o.csv", "--dask", "tcp://127.0.0.1:1")
    assert refused.exit_code == 3
    assert "--dask needs the extra [dask]: pip install 'tracehold[dask]'" in refused.stderr


def test_an_address_that_is_none_is_refused(run, tmp_path):
    pytest.importorskip("distributed")
    refused = run(tmp_path / "part-1.csv", "-o", tmp_path / "o.csv", "--dask", "nowhere://x:1")
    assert refused.exit_code == 3
    assert "no Dask scheduler answers at nowhere://x:1" in refused.stderr
