"""Load cycles over HTTP. Expected counts are sums of the applications written beside them."""

from __future__ import annotations

import itertools
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.databases import shared

WORKED = Path(__file__).parents[3] / "fixtures" / "scenarios" / "recall.json"
RECORDS = ("items", "composition", "composition_bounds", "calibrations", "checks")
PIN = {"id": "PIN", "kind": "adapter_part", "type": "pin", "capacity": "100 kN"}
AT = "2025-12-31T00:00:00Z"
NUMBERS = itertools.count()


def cal(number, day, applications, **more):
    return {
        "certificate": number,
        "item": "TL",
        "performed_at": f"2025-{day}T10:00:00Z",
        "load_applications": applications,
        "uses": [{"item": "ADP", "role": "adapter"}],
        **more,
    }


def laboratory(*calibrations, checks=(), **pin):
    others = [{"id": "ADP", "kind": "adapter"}, {"id": "TL", "kind": "customer_instrument"}]
    holding = {"assembly": "ADP", "part": "PIN", "from": "2025-01-01T00:00:00Z"}
    return {
        "items": [PIN | pin, *others],
        "composition": [holding],
        "calibrations": list(calibrations),
        "checks": list(checks),
    }


def inspection(code, day, result="pass"):
    at = f"2025-{day}T08:00:00Z"
    return {"id": code, "item": "PIN", "at": at, "result": result, "kind": "inspection"}


@pytest.fixture
def ledger(client):
    """Record a laboratory and return the ledger of its pin."""

    def read(made, query=f"at={AT}"):
        assert client.post("/v1/imports", json=made).status_code == 201
        answer = client.get(f"/v1/items/PIN/cycles?{query}")
        assert answer.status_code == 200, answer.text
        return answer.get_json()

    return read


def test_the_worked_laboratory_gives_its_count_and_its_contributions(client):
    # Read: fixtures/scenarios/recall.json, S6, expected.cycles.
    (worked,) = (one for one in json.loads(WORKED.read_text("utf-8"))["scenarios"]
                 if "cycles" in one["expected"])  # fmt: skip
    expected = worked["expected"]["cycles"]
    made = {name: worked[name] for name in RECORDS if name in worked}
    assert client.post("/v1/imports", json=made).status_code == 201
    at = worked["fault"]["discovered_at"]
    found = client.get(f"/v1/items/{expected['part']}/cycles?at={at}").get_json()
    assert found["cycles"] == expected["at_discovery"]
    assert found["design_life_cycles"] == expected["design_life"]
    assert [one["certificate"] for one in found["uses"]] == expected["contributing"]
    assert found["base"] == {
        "cycles": 1820, "since": "inspection", "at": "2025-04-01T09:00:00Z", "check": "K-1"
    }  # fmt: skip


def test_share_rate_and_retirement_are_worked_from_the_count(ledger):
    made = laboratory(cal("A", "02-01", 60), cal("B", "03-01", 13), design_life_cycles=2073,
                      cycles_at_last_inspection=1600)  # fmt: skip
    found = ledger(made)
    # 1600 + 60 + 13 = 1673; 1673 / 2073; 400 left at 73 in 365 days = 0.2 a day: 2000 days
    assert (found["cycles"], found["remaining"], found["state"]) == (1673, 400, "active")
    assert found["share"] == "0.807042932947"
    assert found["rate"] == {"days": 365, "applications": 73, "per_day": "0.2"}
    end = datetime(2025, 12, 31, tzinfo=UTC) + timedelta(days=2000)
    assert found["retirement"] == {"on": f"{end:%Y-%m-%d}"}
    assert found["base"] == {"cycles": 1600, "since": "records"}


def test_the_rate_is_that_of_the_days_asked_for(ledger):
    made = laboratory(cal("A", "02-01", 60), cal("B", "12-20", 20), design_life_cycles=100)
    found = ledger(made, f"at={AT}&rate_days=20")
    # 20 left, 20 in 20 days: 20 days from 31 December
    assert found["rate"] == {"days": 20, "applications": 20, "per_day": "1"}
    assert found["retirement"] == {"on": "2026-01-20"}


@pytest.mark.parametrize(
    ("life", "query", "reason"),
    [
        (None, f"at={AT}", "no design life is recorded"),
        (50, f"at={AT}", "the design life is used up"),
        (500, f"at={AT}&rate_days=1", "no load application in the last 1 days"),
        (2**52, f"at={AT}", "at this rate not before the year 9999"),
    ],
)
def test_without_a_forecast_the_reason_is_given(ledger, life, query, reason):
    made = laboratory(cal("A", "02-01", 60), **({"design_life_cycles": life} if life else {}))
    assert ledger(made, query)["retirement"] == {"on": None, "reason": reason}


def test_a_count_begins_at_the_last_inspection_and_goes_back_before_it(ledger, client):
    made = laboratory(
        cal("A", "02-01", 10), cal("B", "03-01", 20), cal("C", "05-01", 40),
        checks=[inspection("K1", "01-15"), inspection("K2", "04-01", "fail")],
        cycles_at_last_inspection=100,
    )  # fmt: skip
    assert ledger(made)["cycles"] == 140
    # Read on 1 April as 100: 20 less on 10 February, 10 less before that.
    for day, count in (("02-10", 80), ("01-20", 70), ("04-02", 100)):
        found = client.get(f"/v1/items/PIN/cycles?at=2025-{day}T00:00:00Z").get_json()
        assert found["cycles"] == count


def test_a_count_taken_back_is_never_below_zero(ledger):
    made = laboratory(cal("A", "02-01", 10), checks=[inspection("K", "04-01")],
                      cycles_at_last_inspection=3)  # fmt: skip
    assert ledger(made, "at=2025-01-10T00:00:00Z")["cycles"] == 0


def test_without_a_number_read_the_count_begins_at_zero(ledger):
    made = laboratory(cal("A", "02-01", 10), checks=[inspection("K", "04-01")],
                      in_service_from="2025-01-01")  # fmt: skip
    found = ledger(made)
    assert found["cycles"] == 10
    assert found["base"] == {"cycles": 0, "since": "in_service_from", "at": "2025-01-01"}


def test_uses_after_the_life_was_passed_are_listed(ledger):
    made = laboratory(*(cal(f"C{n}", f"0{n}-01", 10) for n in range(1, 6)), design_life_cycles=25)
    found = ledger(made)
    # 10, 20, 30 > 25: passed in C3; C4 and C5 came later
    assert (found["cycles"], found["state"]) == (50, "past_life")
    assert found["life_passed_at"] == "2025-03-01T10:00:00Z"
    assert [one["certificate"] for one in found["later_uses"]] == ["C4", "C5"]
    assert found["later_uses"][0]["after"] == ["the design life was passed"]


def test_a_life_that_is_just_reached_is_not_passed(ledger):
    found = ledger(laboratory(cal("A", "02-01", 10), design_life_cycles=10))
    assert (found["share"], found["state"], found["life_passed_at"]) == ("1", "warn", None)
    assert found["later_uses"] == []


def test_a_part_beyond_its_life_when_it_was_inspected_has_only_late_uses(ledger):
    made = laboratory(cal("A", "02-01", 10), cal("B", "05-01", 5), design_life_cycles=20,
                      cycles_at_last_inspection=21, checks=[inspection("K", "04-01")])  # fmt: skip
    found = ledger(made)
    assert [one["certificate"] for one in found["later_uses"]] == ["B"]
    assert found["life_passed_at"] == "2025-04-01T08:00:00Z"


def test_an_event_adds_its_applications_and_stays_open_until_an_inspection(ledger, client):
    made = laboratory(cal("A", "02-01", 10), cal("B", "03-01", 20), cal("C", "05-01", 40))
    ledger(made)
    event = {"id": "E", "item": "ADP", "at": "2025-02-20T10:00:00Z", "kind": "proof_load",
             "applications": 3, "person": "Robin"}  # fmt: skip
    assert client.post("/v1/load-events", json=event).status_code == 201
    found = client.get(f"/v1/items/PIN/cycles?at={AT}").get_json()
    assert (found["cycles"], found["rate"]["applications"]) == (73, 73)
    assert [one["id"] for one in found["events"]] == ["E"]
    assert found["open_events"] == ["E"]
    assert [one["certificate"] for one in found["later_uses"]] == ["B", "C"]
    assert found["later_uses"][0]["after"] == ["proof_load E"]
    client.post("/v1/checks", json=inspection("K1", "02-25", "fail"))
    assert client.get(f"/v1/items/PIN/cycles?at={AT}").get_json()["open_events"] == ["E"]
    client.post("/v1/checks", json=inspection("K2", "02-26"))
    found = client.get(f"/v1/items/PIN/cycles?at={AT}").get_json()
    assert (found["open_events"], found["later_uses"]) == ([], [])


def test_events_count_on_their_side_of_the_inspection(ledger, client):
    ledger(laboratory(checks=[inspection("K", "04-01")], cycles_at_last_inspection=100))
    for code, day, applications in (("E1", "03-01", 4), ("E2", "05-01", 8)):
        at = f"2025-{day}T10:00:00Z"
        event = {"id": code, "item": "PIN", "at": at, "kind": "use", "person": "Robin"}
        client.post("/v1/load-events", json=event | {"applications": applications})
    for day, count in (("02-01", 96), ("04-02", 100), ("12-31", 108)):
        found = client.get(f"/v1/items/PIN/cycles?at=2025-{day}T00:00:00Z").get_json()
        assert (found["cycles"], found["open_events"]) == (count, [])


def test_a_weighted_count_takes_the_forces_of_the_results(ledger, client):
    results = [{"point": n, "applied": applied, "unit": "kN"} for n, applied in
               enumerate(["0", "50", "100"])]  # fmt: skip
    made = laboratory(cal("A", "02-01", 16, results=results), cal("B", "03-01", 5),
                      cycles_at_last_inspection=7)  # fmt: skip
    found = ledger(made, f"at={AT}&m=3")
    # 7 + 16 x ((50/100)^3 + 1) / 2 + 5 without forces = 7 + 9 + 5
    assert found["weighted"] == {"m": 3, "cycles": "21", "without_force": 5}
    event = {"id": "E", "item": "PIN", "at": "2025-06-01", "kind": "proof_load", "force": "200",
             "unit": "kN", "applications": 2, "person": "Robin"}  # fmt: skip
    client.post("/v1/load-events", json=event)
    found = client.get(f"/v1/items/PIN/cycles?at={AT}&m=1").get_json()
    # 7 + 16 x (0.5 + 1) / 2 + 5 + 2 x 2 = 28
    assert found["weighted"] == {"m": 1, "cycles": "28", "without_force": 5}


def test_a_weighted_count_needs_a_rated_capacity(ledger):
    made = laboratory(capacity="strong", properties={"rated_capacity": 5})
    found = ledger(made, f"at={AT}&m=3")
    assert found["weighted"]["cycles"] is None
    assert found["weighted"]["reason"] == "no rated capacity is recorded"


def test_parts_near_their_life_are_listed_the_most_used_first_in_pages(client):
    pins = [("P1", 90), ("P2", 100), ("P3", 89), ("P4", 95), ("P5", None)]
    items = [
        PIN | {"id": code, "design_life_cycles": 100}
        | ({} if count is None else {"cycles_at_last_inspection": count})
        for code, count in pins
    ]  # fmt: skip
    client.post("/v1/imports", json={"items": items})
    page = client.get("/v1/cycles?limit=2").get_json()
    assert [(one["item"], one["share"]) for one in page["items"]] == [("P2", "1"), ("P4", "0.95")]
    rest = client.get(page["next"]).get_json()
    assert ([one["item"] for one in rest["items"]], rest["next"]) == (["P1"], None)
    assert len(client.get("/v1/cycles?share_from=0").get_json()["items"]) == 5
    for query in ("cursor=WyJQMSJd", "share_from=-0.1", "share_from=most"):
        assert client.get(f"/v1/cycles?{query}").status_code == 422


@pytest.mark.parametrize("query", ["m=0", "m=21", "rate_days=0", "at=noon", "x=1"])
def test_a_query_that_cannot_be_answered_is_refused(ledger, client, query):
    ledger(laboratory())
    answer = client.get(f"/v1/items/PIN/cycles?{query}")
    (error,) = answer.get_json()["errors"]
    assert (answer.status_code, error["parameter"]) == (422, query.partition("=")[0])


def test_an_unknown_item_has_no_ledger(client):
    assert client.get("/v1/items/GHOST/cycles").status_code == 404


def test_the_latest_uses_are_shown_and_all_are_counted(ledger, monkeypatch):
    monkeypatch.setattr("api.services.life.ledgers.MOST_USES", 2)
    made = laboratory(*(cal(f"C{n}", f"0{n}-01", 1) for n in range(1, 6)), design_life_cycles=1)
    found = ledger(made)
    assert ([one["certificate"] for one in found["uses"]], found["use_count"]) == (["C4", "C5"], 5)
    assert [one["certificate"] for one in found["later_uses"]] == ["C4", "C5"]
    assert found["later_use_count"] == 3


@settings(
    max_examples=shared(20),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(st.tuples(st.integers(1, 12), st.integers(0, 50)), min_size=1, max_size=6))
def test_another_calibration_never_lowers_a_count(client, made):
    # One laboratory for all examples: certificates are only ever added.
    if client.get("/v1/items/PIN").status_code == 404:
        assert client.post("/v1/imports", json=laboratory()).status_code == 201
    before = client.get("/v1/items/PIN/cycles?at=2026-12-31").get_json()
    sent = [
        cal(f"X-{next(NUMBERS)}", f"{month:02}-01", applications) for month, applications in made
    ]
    assert client.post("/v1/imports", json={"calibrations": sent}).status_code == 201
    after = client.get("/v1/items/PIN/cycles?at=2026-12-31").get_json()
    assert after["cycles"] == before["cycles"] + sum(applications for _, applications in made)
