"""What the pages read besides the API's own answers, on every engine, from the demonstration."""

from __future__ import annotations

import json
import time

import pytest

from api.services import item_history, items, overview, stated, triage
from api.services.revisions import choose
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
    statements(laboratory)


def work(session) -> None:
    found = overview.open_work(session, time.time_ns() // 1000)
    assert found["cases"] == {"open": 1, "assessed": 0, "notified": 0, "closed": 0}
    assert [one["number"] for one in found["recalls"]] == ["R-00001"]
    due = [one["due_at"][:10] for one in found["overdue"]]
    assert due == sorted(due)
    assert found["overdue_count"] >= len(due) > 0
    assert all(one["kind"] != overview.CUSTOMERS_OWN for one in found["overdue"])
    # Before anything was due.
    assert overview.open_work(session, 0)["overdue"] == []


def found(session) -> None:
    shown = overview.search(session, " mv-25-007 ", None)
    numbers = [one["certificate"] for one in shown["certificates"]]
    assert numbers == sorted(numbers)
    assert all(number.startswith("MV-25-007") for number in numbers)
    own = overview.search(session, "MV-25-007", "Corvane Offshore")
    assert {one["customer"] for one in own["certificates"]} == {"Corvane Offshore"}
    assert own["items"] == own["customers"] == []
    assert overview.search(session, "", None)["certificates"] == []
    assert [one["id"] for one in overview.find_items(session, "500a")] == ["REF-500A"]


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
    rows, more = triage.entry_rows(session, 1, "affected", query, 5)
    assert len(rows) == 4
    assert not more
    assert triage.entry_count(session, 1, "affected", query) == 9
    key, entry = triage.entry_of(session, 1, "MV-25-0073", None, None)
    assert entry["class"] == "affected"  # revision 1; revision 0 was superseded
    assert entry["revision"] == 1
    assert triage.entry_of(session, 1, "MV-25-0073", "", 0)[1]["class"] == "traced_not_recalled"
    assert triage.entry_of(session, 1, "NOSUCH", None, None) is None
    assert stated.by_place(stated.rows(session, key), entry["points"])[0].point == str(
        entry["points"][0]["point"]
    )


def statements(session) -> None:
    rows = stated.rows(session, choose(session, "MV-25-0075").id)
    # The first result of the certificate in fixtures/demo_lab/laboratory.json.
    assert (rows[0].error, rows[0].U, rows[0].lower, rows[0].upper) == (
        *("0.03", "0.0096"),
        *("-0.04", "0.04"),
    )
    assert [row.verdict for row in rows] == ["pass"] * 5
    assert stated.sentences(rows)[0].startswith("Every result meets its specification")
    assert stated.by_place(rows, [{"point": 1, "stage": "as_left"}] * 5) == [None] * 5
