"""The ledger of one part: what loaded it since its base, what came too late, the weighted count.

Expected counts are sums of the applications written beside them.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal

from api.errors import NotFound
from api.schemas.imports import LaboratorySchema
from api.schemas.load_events import LoadEventSchema
from api.services.imports.imports import import_laboratory
from api.services.life import ledgers, load_events
from api.services.life.ledgers import ledger

NOW = 1_767_139_200_000_000  # 2025-12-31T00:00:00Z
QUERY = {"rate_days": 365}


def loading(number, day, applications, *forces, unit="kN"):
    results = [{"point": n, "unit": unit, "applied": force} for n, force in enumerate(forces, 1)]
    uses = [{"item": "ADP", "role": "adapter"}]
    return cal(number, "TL", day, uses, results, load_applications=applications)


def inspection(code, day, result="pass"):
    at = f"2025-{day}T08:00:00Z"
    return {"id": code, "item": "PIN", "at": at, "result": result, "kind": "inspection"}


def overload(code, day, **more):
    event = {"id": code, "item": "PIN", "kind": "overload", "at": f"2025-{day}T12:00:00Z"}
    return event | {"person": "M. Tarn"} | more


@pytest.fixture
def read(database):
    """Record a laboratory whose pin sits in an adapter, and return the ledger of the pin."""

    def found(*calibrations, checks=(), events=(), query=None, **pin):
        pin = {"capacity": "100 kN"} | pin
        known = {name: value for name, value in pin.items() if value is not None}
        items = [{"id": "PIN", "kind": "adapter_part"} | known]
        items += [{"id": "ADP", "kind": "adapter"}, {"id": "TL", "kind": "customer_instrument"}]
        held = {"assembly": "ADP", "part": "PIN", "from": "2025-01-01T00:00:00Z"}
        made = {"items": items, "composition": [held], "calibrations": list(calibrations)}
        made["checks"] = list(checks)
        with database.write() as session:
            import_laboratory(session, LaboratorySchema().load(made), NOW)
            for event in events:
                load_events.record(session, LoadEventSchema().load(event), NOW)
            return ledger(session, "PIN", QUERY | (query or {}), NOW)

    return found


def names(uses):
    return [one["certificate"] for one in uses]


def test_an_item_that_is_not_recorded_has_no_ledger(database):
    with database.read() as session, pytest.raises(NotFound, match="NOSUCH"):
        ledger(session, "NOSUCH", QUERY, NOW)


def test_uses_after_the_one_that_passed_the_design_life_are_late(read):
    # 40 + 60 is the life of 100 exactly, not more; B-3 passes it, and C-4 came after that.
    found = read(
        loading("A-1", "02-01", 40), loading("B-2", "03-01", 60),
        loading("B-3", "04-01", 1), loading("C-4", "05-01", 5),
        design_life_cycles=100,
    )  # fmt: skip
    assert found["cycles"] == 106
    assert found["life_passed_at"] == "2025-04-01T10:00:00Z"
    assert names(found["later_uses"]) == ["C-4"]
    assert found["later_uses"][0]["after"] == ["the design life was passed"]


def test_at_the_end_of_its_life_exactly_nothing_is_late(read):
    found = read(loading("A-1", "02-01", 40), loading("B-2", "03-01", 60), design_life_cycles=100)
    assert (found["life_passed_at"], found["later_uses"], found["later_use_count"]) == (None, [], 0)


def test_uses_after_an_open_event_are_late_until_an_inspection_closes_it(read):
    loads = [loading("A-1", "02-01", 1), loading("B-2", "04-01", 1), loading("C-3", "06-01", 1)]
    event = overload("E-1", "03-01")
    found = read(*loads, events=[event])
    assert found["open_events"] == ["E-1"]
    assert [(one["certificate"], one["after"]) for one in found["later_uses"]] == [
        *(("B-2", ["overload E-1"]), ("C-3", ["overload E-1"]))
    ]


def test_a_passed_inspection_closes_an_event_and_a_failed_one_does_not(read):
    loads = [loading("C-3", "06-01", 1)]
    checks = [inspection("K-1", "03-05", "fail")]
    found = read(*loads, checks=checks, events=[overload("E-1", "03-01")])
    assert (found["open_events"], names(found["later_uses"])) == (["E-1"], ["C-3"])


def test_a_passed_inspection_closes_an_event(read):
    found = read(
        loading("C-3", "06-01", 1), checks=[inspection("K-1", "03-05")],
        events=[overload("E-1", "03-01")],
    )  # fmt: skip
    assert (found["open_events"], found["later_uses"]) == ([], [])
    assert [one["id"] for one in found["events"]] == ["E-1"]


def test_what_is_asked_as_of_an_earlier_day_knows_nothing_later(read):
    found = read(
        loading("A-1", "02-01", 3), loading("B-2", "04-01", 4), events=[overload("E-1", "03-01")],
        query={"at": "2025-02-15T00:00:00Z"},
    )  # fmt: skip
    assert (found["cycles"], names(found["uses"]), found["events"]) == (3, ["A-1"], [])


def test_a_weighted_count_shares_applications_among_the_forces_recorded(read):
    # m = 3, rated 100 kN: 10 at 50 and 100 kN are 5 x 0.125 + 5 x 1 = 5.625; 8 at 50000 N are
    # 8 x 0.125 = 1; an event of 2 at 200 kN is 2 x 8 = 16; 7 without a force count whole.
    found = read(
        loading("A-1", "02-01", 10, "50", "100"),
        loading("B-2", "03-01", 8, "0", "50000", unit="N"),
        loading("C-3", "04-01", 7),
        events=[overload("E-1", "05-01", applications=2, force="200", unit="kN")],
        query={"m": 3},
    )  # fmt: skip
    assert found["weighted"] == {"m": 3, "cycles": "29.625", "without_force": 7}


def test_a_weighted_count_begins_with_what_stood_on_the_base(read):
    # 100 at the beginning of the records, unweighted, and 8 at half the capacity: 100 + 8/8.
    found = read(loading("A-1", "02-01", 8, "50"), cycles_at_last_inspection=100, query={"m": 3})
    assert found["weighted"]["cycles"] == "101"
    assert found["cycles"] == 108


def test_without_a_rated_capacity_there_is_no_weighted_count(read):
    found = read(loading("A-1", "02-01", 8, "50"), capacity=None, query={"m": 3})
    assert found["weighted"] == {
        "m": 3, "cycles": None, "reason": "no rated capacity is recorded"
    }  # fmt: skip


def test_of_long_lists_the_latest_are_shown_and_all_are_counted(read, monkeypatch):
    monkeypatch.setattr(ledgers, "MOST_USES", 2)
    loads = [loading(f"A-{n}", f"02-0{n}", 1) for n in range(1, 6)]
    found = read(*loads, events=[overload("E-1", "01-15")])
    assert (names(found["uses"]), found["use_count"]) == (["A-4", "A-5"], 5)
    assert (names(found["later_uses"]), found["later_use_count"]) == (["A-4", "A-5"], 5)
