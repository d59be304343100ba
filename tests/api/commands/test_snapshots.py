"""`tracehold snapshot` and `recall --snapshot`: taken from a database, asked without it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from api.cli import main
from api.version import SCHEMA

DEMO = Path(__file__).parents[3] / "fixtures" / "demo_lab"
FAULT = json.loads((DEMO / "story.json").read_text("utf-8"))["fault"]


def run(*arguments, **environment):
    env = {"COLUMNS": "120", "TRACEHOLD_URL": "http://127.0.0.1:9", **environment}
    outcome = CliRunner(env=env).invoke(main, list(map(str, arguments)))
    if outcome.exception is not None and not isinstance(outcome.exception, SystemExit):
        raise outcome.exception
    return outcome


@pytest.fixture
def taken(demonstration, tmp_path):
    """Folder of a snapshot of the demonstration laboratory; and what the command said."""
    done = run("snapshot", tmp_path / "s", "--json", TRACEHOLD_DATABASE_URL=demonstration.url)
    assert done.exit_code == 0, done.stderr
    return tmp_path / "s", json.loads(done.stdout)


@pytest.fixture
def fault_file(tmp_path):
    file = tmp_path / "fault.json"
    file.write_text(json.dumps(FAULT))
    return file


def test_a_snapshot_tells_its_schema_instant_rows_and_hashes(taken, database):
    folder, manifest = taken
    assert json.loads((folder / "manifest.json").read_text()) == manifest
    assert (manifest["format"], manifest["schema"]) == (4, SCHEMA)
    assert manifest["as_of"].endswith("Z")
    assert manifest["journal"].keys() == {"position", "hash"}
    assert manifest["files"]["certificate"]["rows"] > 100
    again = run("snapshot", folder, TRACEHOLD_DATABASE_URL=database.url)
    assert (again.exit_code, "exists already" in again.stderr) == (3, True)


def test_a_recall_from_a_snapshot_is_what_the_api_previews(taken, client, fault_file):
    folder, manifest = taken
    printed = json.loads(run("recall", fault_file, "--snapshot", folder, "--json").stdout)
    answer = client.post("/v1/recalls", json={"fault": FAULT, "preview": True})
    expected = json.loads(answer.text)
    assert printed.pop("as_of") == manifest["as_of"]
    expected.pop("as_of")
    assert printed == expected


def test_a_recall_from_a_snapshot_is_shown_with_its_instant(taken, fault_file):
    folder, manifest = taken
    shown = run("recall", fault_file, "--snapshot", folder)
    assert shown.exit_code == 0
    assert f"As of {manifest['as_of']}" in shown.stderr
    assert "Preview of a recall; nothing was stored" in shown.stdout
    assert "CHANGED" in shown.stdout


def test_several_faults_are_answered_together(taken, tmp_path):
    file = tmp_path / "faults.json"
    file.write_text(json.dumps([FAULT, FAULT | {"item": "WS-101"}]))
    printed = json.loads(run("recall", file, "--snapshot", taken[0], "--json").stdout)
    assert len(printed["windows"]) == 2


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"item": "NONE-1"}, 'item "NONE-1" is not recorded'),
        ({"kind": "unheard_of"}, "/fault/kind"),
        ({"isolated_at": "2025-01-01T00:00:00"}, "/fault/isolated_at"),
    ],
)
def test_a_fault_that_cannot_be_is_refused_with_its_place(taken, tmp_path, change, said):
    file = tmp_path / "wrong.json"
    file.write_text(json.dumps(FAULT | change))
    refused = run("recall", file, "--snapshot", taken[0])
    assert (refused.exit_code, said in refused.stderr) == (3, True), refused.stderr


def test_a_snapshot_is_checked_against_its_hashes(taken):
    folder, _ = taken
    assert "as it was written" in run("snapshot", folder, "--check").stderr
    file = folder / "use.parquet"
    changed = bytearray(file.read_bytes())
    changed[len(changed) // 2] ^= 1
    file.write_bytes(changed)
    found = run("snapshot", folder, "--check")
    assert (found.exit_code, found.stdout) == (1, "use.parquet is not as it was written\n")


def test_what_a_snapshot_cannot_do_is_said(taken, fault_file, tmp_path):
    folder, _ = taken
    for arguments in (["--show", 1], [fault_file, "--previous", 1]):
        refused = run("recall", *arguments, "--snapshot", folder)
        assert (refused.exit_code, "holds no stored recalls" in refused.stderr) == (2, True)
    for arguments in (["recall", fault_file, "--snapshot", tmp_path], ["snapshot", tmp_path]):
        refused = run(*arguments, *(["--check"] if arguments[0] == "snapshot" else []))
        assert (refused.exit_code, "holds no snapshot" in refused.stderr) == (3, True)
