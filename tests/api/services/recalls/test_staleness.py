"""Which open recalls a late record would change: flagged with the differences, never rewritten."""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref
from sqlalchemy import select

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.casework import cases
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls, run
from api.services.recalls.staleness import flag_stale, staleness
from api.store.tables import Recall, RecallStale

NOW = 1_893_456_000_000_000  # 2030
LABORATORY = lab(
    cal("W-1", "WS", "01-10", [ref("REF")]),
    cal("C-1", "A", "02-01", [ref("WS")]),
    cal("C-2", "B", "04-01", [ref("WS")]),
    cal("G-1", "GOOD", "01-05", [ref("ROOT")]),
    cal("O-1", "OTHER", "01-05", [ref("ROOT")]),
)


@pytest.fixture
def session(database):
    """A laboratory with one stored recall of REF: W-1, C-1 and C-2 are affected."""
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        report(session)
        yield session


def report(session, item="REF", previous=None):
    request = RecallRequestSchema().load({"fault": force_fault(item)})
    recalls.store(session, run.recall(session, request, NOW), previous, NOW)


def late(session, *calibrations):
    """Record calibrations after the fact, some of items that were not known before."""
    known = {one["id"] for one in LABORATORY["items"]}
    new = [one for one in lab(*calibrations)["items"] if one["id"] not in known]
    sent = {"items": new, "calibrations": list(calibrations)}
    import_laboratory(session, LaboratorySchema().load(sent), NOW)
    session.flush()


def named(flag, name):
    return [one["certificate"] for one in flag["differences"][name]["certificates"]]


def test_a_late_calibration_with_something_sound_takes_later_users_away(session):
    late(session, cal("W-2", "WS", "03-01", [ref("GOOD")]))
    flag = staleness(session, 1)
    assert (named(flag, "removed"), named(flag, "added")) == (["C-2"], [])
    assert flag["at"] == "2030-01-01T00:00:00Z"
    assert flag["cause"]


def test_a_late_user_of_what_is_faulty_is_added(session):
    late(session, cal("C-3", "D", "05-01", [ref("REF")]))
    assert named(staleness(session, 1), "added") == ["C-3"]


def test_a_late_user_further_down_is_added(session):
    late(session, cal("C-3", "D", "05-01", [ref("A")]))
    assert named(staleness(session, 1), "added") == ["C-3"]


def test_the_stored_recall_itself_never_changes(session):
    stored = session.scalars(select(Recall)).one()
    before = stored.result_hash, stored.head, recalls.entries(session, 1, "affected")
    late(session, cal("W-2", "WS", "03-01", [ref("GOOD")]))
    session.refresh(stored)
    assert (stored.result_hash, stored.head, recalls.entries(session, 1, "affected")) == before


@pytest.mark.parametrize(
    "record",
    [
        cal("Z-1", "Z", "05-01", [ref("GOOD")]),
        cal("W-0", "WS", "2024-06-01T00:00:00Z", [ref("GOOD")]),  # W-1 came between
        cal("R-2", "REF", "2026-06-01T00:00:00Z", []),  # after the window
    ],
    ids=lambda one: one["certificate"],
)
def test_what_changes_nothing_flags_nothing(session, record):
    late(session, record)
    assert staleness(session, 1) is None


def test_only_the_recalls_that_it_changes_are_flagged(session):
    late(session, cal("P-1", "P", "02-01", [ref("OTHER")]))
    report(session, "OTHER")
    late(session, cal("C-3", "D", "05-01", [ref("OTHER")]))
    assert staleness(session, 1) is None
    assert named(staleness(session, 2), "added") == ["C-3"]


def test_the_latest_flag_is_told_and_the_earlier_ones_are_kept(session):
    late(session, cal("C-3", "D", "05-01", [ref("REF")]))
    late(session, cal("C-4", "E", "05-01", [ref("REF")]))
    assert named(staleness(session, 1), "added") == ["C-3", "C-4"]
    assert len(session.scalars(select(RecallStale)).all()) == 2


def test_a_recall_with_a_second_look_is_flagged_no_more_but_its_second_look_is(session):
    report(session, previous=1)
    late(session, cal("C-3", "D", "05-01", [ref("REF")]))
    assert staleness(session, 1) is None
    assert named(staleness(session, 2), "added") == ["C-3"]


def test_a_closed_case_is_left_alone(session):
    cases.get(session, 1).state = "closed"
    session.flush()
    late(session, cal("C-3", "D", "05-01", [ref("REF")]))
    assert staleness(session, 1) is None


def test_without_anything_touched_there_is_nothing_to_flag(session):
    flag_stale(session, set(), NOW, "nothing")
    assert session.scalars(select(RecallStale)).all() == []
