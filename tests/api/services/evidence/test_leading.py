"""What leads to a certificate of a stored recall is read by key, level by level, and forgotten."""

from __future__ import annotations

import json

import pytest
from oracle_cases import cal, force_fault, lab, ref
from sqlalchemy import select

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.evidence.leading import Leading
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls, run
from api.store.record_changes import position
from api.store.tables import Certificate, RecallEntry

LATER = 1_893_456_000_000_000  # 2030
LABORATORY = lab(
    cal("W-1", "WS", "02-01", [ref("REF")]),
    cal("C-1", "A", "03-01", [ref("WS", "0.5"), ref("REF", "0.5")]),
    cal("D-1", "D", "04-01", [ref("A"), ref("A")]),
    cal("E-1", "E", "2026-05-01", [ref("REF")]),
    # Names no force reference, so that nobody can exclude REF.
    cal("G-1", "G", "06-01", []),
)


@pytest.fixture
def stored(database):
    """A session, the stored recall of REF, and the keys of its certificates by number."""
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        request = RecallRequestSchema().load({"fault": force_fault()})
        answer = run.recall(session, request, LATER)
        head = recalls.store(session, answer, None, LATER, position(session))
        recall = recalls.get(session, head["id"])
        keys = dict(session.execute(select(Certificate.number, Certificate.id)).all())
        yield session, recall, keys


def test_everything_up_to_the_fault_is_read_and_nothing_else(stored):
    session, recall, keys = stored
    leading = Leading(session, recall)
    leading.learn([keys["D-1"]])
    assert set(leading.entries) == {keys[one] for one in ("D-1", "C-1", "W-1")}
    assert [link["cause"] for link in leading.links[keys["W-1"]]] == [None]
    assert {link["cause"] for link in leading.links[keys["C-1"]]} == {None, keys["W-1"]}


def test_each_recorded_use_has_its_link_with_role_weight_and_instant(stored):
    session, recall, keys = stored
    leading = Leading(session, recall)
    leading.learn([keys["D-1"], keys["C-1"]], all_the_way=False)
    # 2025-04-01T10:00:00Z, by `date -u -d ... +%s`
    use = {"fault": 0, "cause": keys["C-1"], "names": ["A"], "role": "force_reference"}
    told = use | {"weight": "1", "at_us": 1_743_501_600_000_000}
    assert leading.links[keys["D-1"]] == [told | {"use": 0}, told | {"use": 1}]
    assert sorted(link["weight"] for link in leading.links[keys["C-1"]]) == ["0.5", "0.5"]
    # One step only: who W-1 is is known, what leads to it is not.
    assert leading.entries[keys["W-1"]]["item"] == "WS"
    assert keys["W-1"] not in leading.links


def test_what_is_cleared_has_no_links_and_what_cannot_be_excluded_has(stored):
    session, recall, keys = stored
    rows = select(RecallEntry.certificate_id, RecallEntry.links)
    links = dict(session.execute(rows.where(RecallEntry.recall_id == recall.id)).all())
    assert links[keys["E-1"]] is None
    assert json.loads(links[keys["G-1"]]) == [
        {"fault": 0, "cause": None, "names": ["REF"], "use": None}
    ]


def test_who_leads_to_others_is_kept_and_the_rest_forgotten(stored):
    session, recall, keys = stored
    leading = Leading(session, recall)
    leading.learn([keys["C-1"], keys["D-1"]])
    leading.forget([keys["C-1"], keys["D-1"]])
    assert set(leading.entries) == {keys["W-1"], keys["C-1"]}
    leading.learn([keys["D-1"]])
    assert leading.part([keys["D-1"]]).number_of_nodes() > 3
