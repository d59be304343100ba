"""`tracehold recall --reach`: the first list from the database or a snapshot, without a server."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from api.cli import main

DEMO = Path(__file__).parents[3] / "fixtures" / "demo_lab"
FAULT = json.loads((DEMO / "story.json").read_text("utf-8"))["fault"]


@pytest.fixture
def run(demonstration):
    """Run a command that asks a database of the demonstration laboratory; no server answers."""

    def invoke(*arguments, url=demonstration.url):
        env = {"TRACEHOLD_URL": "http://127.0.0.1:9", "TRACEHOLD_DATABASE_URL": str(url)}
        outcome = CliRunner(env=env).invoke(main, list(map(str, arguments)))
        if outcome.exception is not None and not isinstance(outcome.exception, SystemExit):
            raise outcome.exception
        return outcome

    return invoke


@pytest.fixture
def fault_file(tmp_path):
    file = tmp_path / "fault.json"
    file.write_text(json.dumps(FAULT))
    return file


def test_the_list_is_shown_with_what_it_does_not_say_yet(run, fault_file):
    shown = run("recall", fault_file, "--reach")
    assert shown.exit_code == 0, shown.stderr
    heading, meaning, window, *rest = shown.stdout.splitlines()
    assert heading.startswith("First list: ")
    assert "not judged yet" in meaning
    assert "may clear some of them" in meaning
    assert window.startswith(f"Window of {FAULT['item']}: ")
    columns = next(line for line in rest if line.startswith("certificate"))
    assert columns.split() == ["certificate", "revision", "item", "customer", "performed"]
    assert any(line.startswith("MV-25-0075 ") for line in rest)


def test_as_json_it_holds_what_a_preview_recalls(run, client, fault_file):
    printed = json.loads(run("recall", fault_file, "--reach", "--json").stdout)
    answer = client.post("/v1/recalls", json={"fault": FAULT, "preview": True})
    expected = json.loads(answer.text)
    assert printed["window"] == expected["window"]
    named = {one["certificate"] for one in printed["certificates"]}
    assert printed["count"] == len(printed["certificates"])
    assert {one["certificate"] for one in expected["affected"]} <= named


def test_a_snapshot_gives_the_same_certificates(run, fault_file, tmp_path):
    asked = json.loads(run("recall", fault_file, "--reach", "--json").stdout)
    run("snapshot", tmp_path / "s")
    found = run("recall", fault_file, "--reach", "--snapshot", tmp_path / "s", "--json")
    assert json.loads(found.stdout)["certificates"] == asked["certificates"]


def test_several_faults_are_answered_together(run, tmp_path):
    file = tmp_path / "faults.json"
    file.write_text(json.dumps([FAULT, FAULT | {"item": "WS-101"}]))
    assert len(json.loads(run("recall", file, "--reach", "--json").stdout)["windows"]) == 2
    assert run("recall", file, "--reach").stdout.count("Window of ") == 2


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"item": "NONE-1"}, 'item "NONE-1" is not recorded'),
        ({"kind": "unheard_of"}, "/fault/kind"),
        ({"isolated_at": "2025-01-01T00:00:00"}, "/fault/isolated_at"),
        ({"isolated_at": "2001-01-01"}, "comes before last_good_at"),
    ],
)
def test_a_fault_that_cannot_be_is_refused_with_its_place(run, tmp_path, change, said):
    file = tmp_path / "wrong.json"
    file.write_text(json.dumps(FAULT | change))
    refused = run("recall", file, "--reach")
    assert (refused.exit_code, said in refused.stderr) == (3, True), refused.stderr


def test_a_database_that_cannot_be_read_is_refused_with_the_reason(run, fault_file, tmp_path):
    text = tmp_path / "text.db"
    text.write_text("no database at all, but long enough to be looked at as the header of one")
    for url, said in (
        (f"sqlite:///{text}", "file is not a database"),
        (f"sqlite:///{tmp_path / 'missing.db'}", "unable to open database file"),
        ("mysql://host/lab", "TRACEHOLD_DATABASE_URL cannot be used"),
    ):
        refused = run("recall", fault_file, "--reach", url=url)
        assert (refused.exit_code, said in refused.stderr) == (3, True), refused.stderr
    refused = run("recall", fault_file, "--reach", "--snapshot", tmp_path)
    assert (refused.exit_code, "holds no snapshot" in refused.stderr) == (3, True)


def test_a_stored_recall_has_no_first_list(run, fault_file):
    for arguments in (["--show", 1], [fault_file, "--previous", 1]):
        refused = run("recall", *arguments, "--reach")
        assert (refused.exit_code, "is not stored" in refused.stderr) == (2, True)
