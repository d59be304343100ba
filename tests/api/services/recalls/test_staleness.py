"""What a stored recall says of itself: true, false or "checking", and whether to look again."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from oracle_cases import cal, ref

from api.store.casework import RecallCase

LATE = cal("C-3", "X", "05-01", [ref("WS")])


def listed(recalled, **query):
    answer = recalled.client.get("/v1/recalls", query_string=query)
    assert answer.status_code == 200, answer.get_json()
    return {one["id"]: one["stale"] for one in answer.get_json()["items"]}


def close(database, *keys):
    with database.write() as session:
        closed = sa.update(RecallCase).where(RecallCase.recall_id.in_(keys)).values(state="closed")
        session.execute(closed)


def test_the_list_is_filtered_by_it(recalled, recheck):
    recalled.report()
    assert listed(recalled) == {1: False, 2: False}
    recalled.record(LATE)
    assert listed(recalled, stale="checking") == {1: "checking", 2: "checking"}
    assert listed(recalled, stale="true") == listed(recalled, stale="false") == {}
    recheck()
    recalled.report()
    assert listed(recalled, stale="true") == {1: True, 2: True}
    assert listed(recalled, stale="false") == {3: False}
    wrong = recalled.client.get("/v1/recalls?stale=perhaps")
    assert wrong.status_code == 422
    assert "checking" in wrong.get_json()["errors"][0]["detail"]


def test_a_recall_that_waits_says_since_when_and_for_what(recalled):
    recalled.record(LATE)
    waits = recalled.shown()["staleness"]["checking"]
    assert waits["cause"] == '1 calibration(s) were recorded, certificate "C-3" rev. 0 first'
    assert waits["was"] is False
    assert waits["since"].endswith("Z")


def test_the_exact_answer_can_be_asked_for(recalled):
    recalled.record(LATE)
    assert recalled.shown(exact="true")["stale"] is True
    assert recalled.shown()["stale"] is True


def test_the_feed_tells_when_it_begins_and_when_it_ends(recalled, recheck):
    address = "/v1/certificates/C-2/uses/0/corrections"
    for weight in ("0.5", None):
        body = {"use": ref("WS", weight), "by": "M. Tarn", "reason": "work sheet"}
        recalled.post(address, body)
        recheck()
    told = recalled.client.get("/v1/changes?events=recall.stale").get_json()["items"]
    assert [(one["recall"], one["stale"]) for one in told] == [(1, "stale"), (1, "current")]


@pytest.mark.parametrize("looks", [1, 2])
def test_a_closed_case_is_to_be_reopened_until_a_look_has_read_what_came(
    recalled, database, recheck, looks
):
    for n in range(1, looks):
        recalled.report(previous=n)
    close(database, 1)
    assert listed(recalled, reopen="true") == {}
    recalled.record(LATE)
    assert listed(recalled, reopen="true") == {}
    recheck()
    assert list(listed(recalled, reopen="true")) == [1]
    recalled.report(previous=looks)  # a look at the look counts too
    assert listed(recalled, reopen="true") == {}
    recalled.record(cal("C-4", "Y", "05-02", [ref("WS")]))
    recheck()
    assert list(listed(recalled, reopen="true")) == [1]


def test_a_look_at_another_fault_does_not_answer_it(recalled, database, recheck):
    close(database, 1)
    recalled.record(LATE)
    recheck()
    recalled.report()
    assert recalled.shown()["staleness"]["reopen"] is True
    assert recalled.client.get("/v1/recalls/1/case").get_json()["reopen"] is True
    assert recalled.client.get("/v1/recalls/2/case").get_json()["reopen"] is False
