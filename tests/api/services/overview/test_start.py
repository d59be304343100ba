"""What the pages read besides the API's own answers, on every engine, from the demonstration."""

from __future__ import annotations

import json
import time

import pytest

from api.services.casework import isolation
from api.services.certificates import statements
from api.services.evidence import page_part
from api.services.overview import fault_subjects, item_history, start
from api.services.recalls import lists, recalls
from api.services.records import items
from api.services.records.revisions import choose
from tests.browser.site import DEMO

STORY = json.loads(DEMO.joinpath("story.json").read_bytes())


@pytest.fixture
def laboratory(client, database):
    """Import the invented laboratory and report its first fault."""
    body = DEMO.joinpath("laboratory.json").read_bytes()
    assert client.post("/v1/imports", data=body, content_type="application/json").status_code == 201
    assert client.post("/v1/recalls", json={"fault": STORY["fault"]}).status_code == 201
    with database.read() as session:
        yield session


def test_everything_of_a_laboratory_that_a_page_asks_for(laboratory):
    work(laboratory)
    found(laboratory)
    history(laboratory)
    entries(laboratory)
    stated(laboratory)
    picture(laboratory)
    subjects(laboratory)
    isolated(laboratory)


def work(session) -> None:
    found = start.open_work(session, time.time_ns() // 1000)
    assert found["cases"] == {"open": 1, "assessed": 0, "notified": 0, "closed": 0}
    assert [one["number"] for one in found["recalls"]] == ["R-00001"]
    due = [one["due_at"][:10] for one in found["overdue"]]
    assert due == sorted(due)
    assert found["overdue_count"] >= len(due) > 0
    assert all(one["kind"] != start.CUSTOMERS_OWN for one in found["overdue"])
    # Before anything was due.
    assert start.open_work(session, 0)["overdue"] == []


def found(session) -> None:
    shown = start.search(session, " mv-25-007 ", None)
    numbers = [one["certificate"] for one in shown["certificates"]]
    assert numbers == sorted(numbers)
    assert all(number.startswith("MV-25-007") for number in numbers)
    own = start.search(session, "MV-25-007", "Corvane Offshore")
    assert {one["customer"] for one in own["certificates"]} == {"Corvane Offshore"}
    assert own["items"] == own["customers"] == []
    assert start.search(session, "", None)["certificates"] == []
    assert [one["id"] for one in start.find_items(session, "500a")] == ["REF-500A"]


def history(session) -> None:
    told = item_history.history(session, items.get(session, "REF-500A"))
    assert [one["id"] for one in told["checks"]][-1] == "CHK-006"
    assert [one["number"] for one in told["windows"]] == ["R-00001"]
    part = item_history.history(session, items.get(session, "PIN-22A"))
    assert [one["assembly"] for one in part["assemblies"]] == ["ADP-22", "ADP-23"]
    resting = item_history.resting(session, items.get(session, "REF-500B"))
    assert "WS-102" in [one["item"] for one in resting["items"]]
    latest = item_history.latest_certificate(session, items.get(session, "REF-500A"))
    assert latest.number == "OIF/25-0311"


def entries(session) -> None:
    query = {"sort": "changed", "limit": 5, "verdict_changes": True}
    rows, more = lists.entry_rows(session, 1, "affected", query, 5)
    assert len(rows) == 4
    assert not more
    assert lists.entry_count(session, 1, "affected", query) == 9
    key, entry = lists.entry_of(session, 1, "MV-25-0073", None, None)
    assert entry["class"] == "affected"  # revision 1; revision 0 was superseded
    assert entry["revision"] == 1
    assert lists.entry_of(session, 1, "MV-25-0073", "", 0)[1]["class"] == "traced_not_recalled"
    assert lists.entry_of(session, 1, "NOSUCH", None, None) is None
    assert statements.by_place(statements.rows(session, key), entry["points"])[0].point == str(
        entry["points"][0]["point"]
    )


def stated(session) -> None:
    rows = statements.rows(session, choose(session, "MV-25-0075").id)
    # The first result of the certificate in fixtures/demo_lab/laboratory.json.
    assert (rows[0].error, rows[0].U, rows[0].lower, rows[0].upper) == (
        *("0.03", "0.0096"),
        *("-0.04", "0.04"),
    )
    assert [row.verdict for row in rows] == ["pass"] * 5
    assert statements.statement(rows).startswith("Every result meets its specification")
    assert statements.by_place(rows, [{"point": 1, "stage": "as_left"}] * 5) == [None] * 5


def picture(session) -> None:
    """The part of a recall that is drawn, bounded and whole."""
    recall = recalls.get(session, 1)
    key, _ = lists.entry_of(session, 1, "MV-25-0075", None, None)
    part = page_part.drawn_part(session, recall, key)
    assert [one.total for one in part.generations] == [9, 17, 23]
    assert part.not_drawn == 0
    # Two certificates of generation 1 lead to it, and nothing else is lit.
    assert {part.known[one].label for one in part.lit} == {"MV-25-0052", "MV-25-0055", "MV-25-0075"}
    assert recalls.second_looks(session, 1) == []


def subjects(session) -> None:
    """What a fault may be reported of, and when it could have acted."""
    found = fault_subjects.find(session, "fp-")
    assert {one["method"]: one["calibrations"] for one in found["methods"]} == {
        "FP-02 edition 4": 35,
        "FP-11 edition 2": 365,
    }
    told = fault_subjects.of_certificate(session, "MV-25-0052", None, 0)
    assert sum(one["many"] for one in told["history"]["uses"]) == told["use_count"] == 12
    assert told["in_force"][0] < told["in_force"][1]
    assert fault_subjects.of_method(session, "FP-02 edition 4")["use_count"] == 35
    superseded = fault_subjects.of_certificate(session, "MV-25-0073", None, 0)
    # From its calibration, 2025-05-09T08:45-07:00, until the amended one was issued ten days later.
    assert superseded["in_force"] == (1_746_805_500_000_000, 1_747_669_500_000_000)


def isolated(session) -> None:
    now = time.time_ns() // 1000
    (one,) = isolation.of_item(session, "REF-500A", now)
    assert one["recalls"] == [{"id": 1, "number": "R-00001"}]
    assert isolation.of_item(session, "REF-500B", now) == []
    assert isolation.of_item(session, "REF-500A", 0) == []  # before it was isolated
    assert isolation.isolated_by(session, recalls.get(session, 1)) == ["REF-500A"]
    assert isolation.overrides(session, items.get(session, "REF-500A").id) == []
