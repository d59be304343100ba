"""Snapshots: what was committed by an instant, and the same recall from it without the database.

That every kind of fault is answered alike is in tests/whole/test_recall_from_snapshot.py.
"""

from __future__ import annotations

import json

import pytest
from oracle_cases import OPEN, cal, force_fault, lab, ref

from api.errors import InvalidRecord, UnknownReference
from api.rules import ENGINE_VERSION
from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls import run
from api.services.upkeep import snapshots

NOW = 1_893_456_000_000_000  # 2030-01-01T00:00:00Z
LABORATORY = lab(
    cal("W-1", "WS", "02-01", [ref("REF")]),
    cal("C-1", "A", "03-01", [ref("WS")]),
    time_zone="Europe/Vienna",
)


@pytest.fixture
def filled(database):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
    return database


@pytest.fixture
def taken(filled, tmp_path):
    """Folder of a snapshot of a laboratory in Vienna, and its manifest."""
    with filled.read() as session:
        return tmp_path / "s", snapshots.take(session, tmp_path / "s", "0001", NOW)


def request(fault=None):
    return RecallRequestSchema().load({"fault": fault or force_fault()})


def test_a_snapshot_says_of_what_and_of_when_it_is(taken):
    folder, manifest = taken
    assert manifest == json.loads((folder / "manifest.json").read_text("utf-8"))
    assert (manifest["as_of"], manifest["schema"]) == ("2030-01-01T00:00:00Z", "0001")
    assert (manifest["engine_version"], manifest["time_zone"]) == (ENGINE_VERSION, "Europe/Vienna")
    # Nothing was done by anybody: the chain of the journal has not begun.
    assert manifest["journal"]["position"] == 0
    assert snapshots.as_of_us(snapshots.opened(folder)) == NOW


def test_a_recall_from_it_is_that_of_the_database(filled, taken):
    folder, _ = taken
    with filled.read() as session:
        expected = run.recall(session, request(), NOW)
    found = snapshots.recall(snapshots.opened(folder), request())
    assert [json.loads(one.text)["certificate"] for one in found.lists["affected"]] == [
        *("W-1", "C-1")
    ]
    assert found == expected


def test_bare_dates_are_read_in_the_zone_of_the_laboratory(taken):
    answer = snapshots.recall(
        snapshots.opened(taken[0]), request(force_fault(last_good_at="2025-01-15"))
    )
    # Vienna is an hour ahead of UTC in winter.
    assert answer.head["window"]["start"] == "2025-01-14T23:00:00Z"


def test_what_is_recorded_afterwards_is_not_in_it(filled, taken):
    folder, _ = taken
    before = snapshots.recall(snapshots.opened(folder), request())
    with filled.write() as session:
        more = {"calibrations": [cal("C-2", "A", "04-01", [ref("WS")])]}
        import_laboratory(session, LaboratorySchema().load(more), NOW)
        assert run.recall(session, request(), NOW).result_hash != before.result_hash
    assert snapshots.recall(snapshots.opened(folder), request()) == before


def test_the_instant_of_the_snapshot_is_now(taken):
    snapshot = snapshots.opened(taken[0])
    assert snapshots.recall(snapshot, request()).as_of_us == NOW


def test_an_item_that_it_does_not_hold_is_refused(taken):
    with pytest.raises(UnknownReference):
        snapshots.recall(
            snapshots.opened(taken[0]), request({"item": "NOBODY", "kind": "unknown"} | OPEN)
        )


def test_a_folder_that_is_there_is_not_written_over(filled, taken):
    folder, manifest = taken
    with filled.read() as session, pytest.raises(InvalidRecord, match="exists already"):
        snapshots.take(session, folder, "0001", NOW + 1)
    assert json.loads((folder / "manifest.json").read_text("utf-8")) == manifest


@pytest.mark.parametrize("content", [None, "", "{}", '{"format":99}'])
def test_what_is_no_snapshot_is_not_opened(tmp_path, content):
    if content is not None:
        (tmp_path / "manifest.json").write_text(content)
    with pytest.raises(InvalidRecord):
        snapshots.opened(tmp_path)
