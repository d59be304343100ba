"""`tracehold import` and the client's imports: documents, lines and CSV files."""

from __future__ import annotations

import csv
import json
import os
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from import_forms import lines_of

from api.cli import main
from api.client import Client, InvalidRequest

SHEETS = Path(__file__).parents[2] / "fixtures" / "demo_lab" / "spreadsheet"
LAB = {
    "items": [
        {"id": "REF", "kind": "reference_standard"},
        {"id": "CELL", "kind": "customer_instrument"},
    ],
    "calibrations": [
        {
            "certificate": "C-1",
            "item": "CELL",
            "performed_at": "2025-03-10",
            "uses": [{"item": "REF", "role": "force_reference"}],
        }
    ],
}


@pytest.fixture
def lab(server, keys):
    with Client(server, keys.token()) as client:
        yield client


@pytest.fixture
def ask(server, keys):
    """Run the command line against a live server."""
    ours = {name: None for name in os.environ if name.startswith("TRACEHOLD_")}
    ours |= {"COLUMNS": "120", "TRACEHOLD_URL": server, "TRACEHOLD_API_KEY": keys.token()}

    def invoke(*arguments):
        outcome = CliRunner(env=ours).invoke(main, list(map(str, arguments)))
        if outcome.exception is not None and not isinstance(outcome.exception, SystemExit):
            raise outcome.exception
        return outcome

    return invoke


@pytest.fixture
def files(tmp_path):
    """Write files and return their paths."""

    def write(**contents):
        paths = []
        for name, content in contents.items():
            path = tmp_path / name.replace("__", ".")
            path.write_text(content if isinstance(content, str) else json.dumps(content))
            paths.append(path)
        return paths[0] if len(paths) == 1 else paths

    return write


def test_the_client_imports_lines_from_objects_bytes_or_a_file(lab, tmp_path):
    file = tmp_path / "lab.ndjson"
    file.write_bytes(lines_of(LAB))
    seen = []
    assert lab.import_lines(file, dry_run=True, seen=seen.append)["created"]["items"] == 2
    assert seen[-1] == file.stat().st_size
    assert lab.import_lines([{"items": one} for one in LAB["items"]])["created"]["items"] == 2
    assert lab.import_lines(file)["created"]["calibrations"] == 1
    assert lab.import_lines(file.read_bytes())["unchanged"]["calibrations"] == 1


def test_the_client_tells_the_line_of_a_fault(lab):
    with pytest.raises(InvalidRequest) as found:
        lab.import_lines([{"title": "t"}, {"items": {"id": "X", "kind": "hammer"}}])
    (issue,) = found.value.errors
    assert (issue.line, issue.pointer) == (2, "/items/kind")


def test_the_client_imports_csv_and_has_the_report_of_what_was_refused(lab):
    mapping = {"tables": [{"file": "f.csv", "collection": "items"}]}
    good, bad = b"id,kind\nA,readout\n", b"id,kind\nA,readout\nB,hammer\n"
    with pytest.raises(InvalidRequest) as found:
        lab.import_csv({"f.csv": bad}, mapping)
    assert [one["row"] for one in found.value.report["refused"]] == [3]
    assert [(one.file, one.row, one.column) for one in found.value.errors] == [("f.csv", 3, "kind")]
    assert lab.import_csv({"f.csv": bad}, mapping, dry_run=True)["stored"] is False
    assert lab.import_csv({"f.csv": bad}, mapping, skip_refused=True)["created"]["items"] == 1
    assert lab.import_csv({"f.csv": good}, json.dumps(mapping).encode())["unchanged"]["items"] == 1


def test_lines_are_imported_by_their_ending(ask, tmp_path):
    file = tmp_path / "lab.jsonl"
    file.write_bytes(lines_of(LAB))
    dry = ask("import", file, "--dry-run")
    assert (dry.exit_code, "dry run" in dry.stderr) == (0, True)
    assert re.search(r"calibrations +1 +0", ask("import", file).stdout)
    assert re.search(r"calibrations +0 +1", ask("import", file).stdout)


def test_a_refused_line_ends_with_code_3_and_says_where(ask, files):
    file = files(lab__ndjson='{"title": "t"}\n{"items": {"id": "X", "kind": "hammer"}}\n')
    outcome = ask("import", file)
    assert outcome.exit_code == 3
    assert "line 2, /items/kind: Must be one of" in outcome.stderr


def test_the_spreadsheet_of_the_demonstration_goes_in(ask):
    outcome = ask("import", *SHEETS.glob("*.csv"), "--mapping", SHEETS / "mapping.json")
    assert outcome.exit_code == 0, outcome.stderr
    assert re.search(r"calibrations +411 +0", outcome.stdout)


def test_refused_rows_are_shown_with_what_is_missing_and_written_to_a_report(ask, files, tmp_path):
    sheets = files(
        items__csv="id,kind\n=A,readout\nB,hammer\n",
        held__csv="assembly,part,from\n=A,GHOST,2025-01-01\n",
        mapping__json={
            "tables": [
                {"file": "items.csv", "collection": "items"},
                {"file": "held.csv", "collection": "composition"},
            ]
        },
    )
    report = tmp_path / "refused.csv"
    arguments = [*sheets[:2], "--mapping", sheets[2], "--report", report]
    outcome = ask("import", *arguments)
    assert outcome.exit_code == 3
    assert re.search(r"items.csv +3 +kind +hammer", outcome.stdout)
    assert re.search(r"items +GHOST +1", outcome.stdout)
    assert "items.csv: 2 rows, 1 refused" in outcome.stderr
    rows = list(csv.DictReader(report.read_text().splitlines()))
    assert [(row["file"], row["row"], row["value"]) for row in rows] == [
        ("held.csv", "2", "GHOST"),
        ("items.csv", "3", "hammer"),
    ]
    assert ask("import", *arguments, "--dry-run").exit_code == 3
    as_json = tmp_path / "refused.json"
    skipped = ask("import", *arguments[:-1], as_json, "--skip-refused", "--json")
    assert skipped.exit_code == 0
    assert json.loads(skipped.stdout)["created"]["items"] == 1
    assert json.loads(as_json.read_text())["missing"] == {"items": [{"id": "GHOST", "named_by": 1}]}


def test_one_file_may_be_imported_by_its_collection_with_or_without_a_mapping(ask, files):
    plain, named = files(plain__csv="id,kind\nA,readout\n", named__csv="Asset;Art\nB;Anzeiger\n")
    assert ask("import", plain, "--collection", "items").exit_code == 0
    fields = {"id": "Asset", "kind": {"column": "Art", "values": {"Anzeiger": "readout"}}}
    table = {"separator": ";", "fields": fields}
    whole = {"tables": [table | {"file": "x.csv", "collection": "items"}]}
    for mapping in (table, whole):
        file = files(mapping__json=mapping)
        outcome = ask("import", named, "--collection", "items", "--mapping", file)
        assert outcome.exit_code == 0, outcome.stderr
    other = ask("import", named, "--collection", "checks", "--mapping", files(m__json=whole))
    assert other.exit_code == 2


@pytest.mark.parametrize(
    "arguments",
    [
        ["a.csv"],
        ["a.csv", "b.json"],
        ["b.json", "--skip-refused"],
        ["a.csv", "c.csv", "--collection", "items"],
        ["a.csv", "--mapping", "b.json"],
    ],
)
def test_files_and_options_that_do_not_go_together_are_wrong_usage(ask, files, arguments):
    a, b, c = files(a__csv="id,kind\n", b__json=[], c__csv="id,kind\n")
    paths = {"a.csv": a, "b.json": b, "c.csv": c}
    outcome = ask("import", *(paths.get(one, one) for one in arguments))
    assert outcome.exit_code == 2, outcome.output
