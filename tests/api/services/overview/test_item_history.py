"""What happened to an item in order of time, and what rests on it now."""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.overview import item_history
from api.services.overview.item_history import history, latest_certificate, resting
from api.services.recalls import recalls, run
from api.services.records import items
from api.store.record_changes import position
from graph.moments import instant_us, time_zone

NOW = 1_893_456_000_000_000  # 2030


def us(text):
    return instant_us(text, time_zone("UTC"))


# PIN sat in ADP during February and from June on; ADP sat in RIG from July on.
# A was calibrated with ADP in February, and then again with something else.
HELD = [
    ("ADP", "PIN", "2025-02-01T00:00:00Z", "2025-03-01T00:00:00Z"),
    ("ADP", "PIN", "2025-06-01T00:00:00Z", None),
    ("RIG", "ADP", "2025-07-01T00:00:00Z", None),
]
CHECK = {"item": "ADP", "result": "pass", "independent": True}
LABORATORY = lab(
    cal("A-1", "A", "02-10", [ref("ADP")]),
    cal("B-1", "B", "02-11", [ref("ADP")]),
    cal("C-1", "C", "04-10", [ref("ADP")]),  # PIN was out
    cal("D-1", "D", "06-10", [ref("B")]),
    cal("E-1", "E", "05-10", [ref("RIG")]),  # ADP was not in it yet
    cal("F-1", "F", "07-10", [ref("RIG")], customer="Mine Works"),
    cal("A-2", "A", "08-10", [ref("OTHER")]),
    cal("V-1", "ADP", "01-15", [], status="voided"),
    cal("P-1", "ADP", "01-10", []),
    cal("P-1", "ADP", "01-10", [], revision=1, status="draft"),
    composition=[
        dict(zip(("assembly", "part", "from", "until"), one, strict=True)) for one in HELD
    ],
    checks=[CHECK | {"id": "K-2", "at": "2025-05-02"}, CHECK | {"id": "K-1", "at": "2025-05-01"}],
)
LABORATORY["items"] = [
    one | ({"kind": "customer_instrument"} if one["id"] == "F" else {})
    for one in [*LABORATORY["items"], {"id": "PIN", "kind": "adapter_part"}]
]


@pytest.fixture
def session(database):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        yield session


def of(session, code):
    return history(session, items.get(session, code))


def test_calibrations_checks_and_holdings_stand_in_order_of_time(session):
    told = of(session, "ADP")
    assert [(one["certificate"], one["revision"]) for one in told["calibrations"]] == [
        *(("P-1", 0), ("P-1", 1), ("V-1", 0))
    ]
    assert told["calibrations"][0]["at_us"] == us("2025-01-10T10:00:00Z")
    assert [one["id"] for one in told["checks"]] == ["K-1", "K-2"]
    assert told["checks"][0]["at_us"] == us("2025-05-01T00:00:00Z")
    assert [(one["part"], one["from_us"], one["until_us"]) for one in told["parts"]] == [
        ("PIN", us("2025-02-01T00:00:00Z"), us("2025-03-01T00:00:00Z")),
        ("PIN", us("2025-06-01T00:00:00Z"), None),
    ]
    assert [one["assembly"] for one in told["assemblies"]] == ["RIG"]
    assert told["windows"] == []


def test_an_item_that_nothing_happened_to_has_an_empty_history(session):
    assert of(session, "OTHER") == {
        "calibrations": [], "checks": [], "parts": [], "assemblies": [], "windows": []
    }  # fmt: skip


def test_windows_are_those_of_the_recalls_that_name_the_item_as_faulty(session):
    faults = [force_fault("PIN"), force_fault("B", isolated_at=None)]
    for request in ({"fault": faults[0]}, {"faults": faults}):
        answer = run.recall(session, RecallRequestSchema().load(request), NOW)
        recalls.store(session, answer, None, NOW, position(session))
    told = of(session, "PIN")["windows"]
    assert [(one["number"], one["start"], one["end"]) for one in told] == [
        ("R-00001", "2025-01-01T00:00:00Z", "2025-12-31T00:00:00Z"),
        ("R-00002", "2025-01-01T00:00:00Z", "2025-12-31T00:00:00Z"),
    ]
    # A-1, B-1 and F-1 met PIN, and D-1 rests on B-1: four.
    assert told[0]["affected"] == 4
    (other,) = of(session, "B")["windows"]
    assert (other["number"], other["from_us"], other["until_us"]) == (
        *("R-00002", us("2025-01-01T00:00:00Z"), None),
    )
    assert of(session, "ADP")["windows"] == []


def test_the_latest_certificate_is_an_issued_one(session):
    latest = latest_certificate(session, items.get(session, "ADP"))
    assert (latest.number, latest.revision) == ("P-1", 0)
    assert latest_certificate(session, items.get(session, "OTHER")) is None


def test_what_rests_on_a_part_goes_through_what_held_it_at_that_time(session):
    found = resting(session, items.get(session, "PIN"))
    # A-1 and B-1 in February, F-1 in July through ADP in RIG; D-1 by B-1.
    assert (found["direct"], found["reached"]) == (3, 4)
    # A has been calibrated again since, with something else.
    assert [(one["item"], one["certificate"]) for one in found["items"]] == [
        *(("B", "B-1"), ("D", "D-1"))
    ]
    assert [(one["item"], one["customer"]) for one in found["instruments"]] == [("F", "Mine Works")]
    assert found["instrument_count"] == 1


def test_what_rests_on_an_assembly_is_what_used_it_with_or_without_the_part(session):
    found = resting(session, items.get(session, "ADP"))
    assert [one["item"] for one in found["items"]] == ["B", "C", "D"]


def test_nothing_rests_on_an_item_that_nobody_used(session):
    assert resting(session, items.get(session, "F")) == {
        "direct": 0, "reached": 0, "items": [], "instruments": [], "instrument_count": 0
    }  # fmt: skip


def test_more_than_can_be_followed_is_counted_and_not_named(session, monkeypatch):
    monkeypatch.setattr(item_history, "MOST_FOLLOWED", 3)
    found = resting(session, items.get(session, "PIN"))
    assert found["reached"] == 4
    assert found["items"] is found["instruments"] is found["instrument_count"] is None
