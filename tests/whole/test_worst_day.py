"""The worst day: late records beside notices, second looks, corrections and voids without a date.

What each shows is what somebody saw go wrong when a whole day was lived through.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from oracle_cases import OPEN, answered, cal, lab, ref

from tests.whole.test_late_data import closed, listed

Json = dict[str, Any]
SAID = {"by": "M. Tarn", "reason": "the sheet says otherwise"}
ABOUT = {"name": "Meridian Force", "contact": "A. Quill, quality@meridian.example"}
FAULT: Json = {"item": "REF", "kind": "true_force_relative_error", "delta_rel": "-0.0005"} | OPEN


@pytest.fixture
def laboratory(client: Any) -> Any:
    """WS was calibrated with REF and used for C-1 and C-2; GOOD rests on something else."""
    records = lab(
        cal("W-1", "WS", "01-10", [ref("REF")]),
        cal("C-1", "A", "02-01", [ref("WS")], customer="Corvane Offshore"),
        cal("C-2", "B", "04-01", [ref("WS")], customer="Corvane Offshore"),
        cal("G-1", "GOOD", "01-05", [ref("ROOT")]),
    )
    assert client.post("/v1/imports", json=records).status_code == 201
    etag = client.get("/v1/laboratory").headers["ETag"]
    named = client.patch("/v1/laboratory", json=ABOUT, headers={"If-Match": etag})
    assert named.status_code == 200, named.get_json()
    return client


def report(client: Any, fault: Json = FAULT, **more: Any) -> Json:
    answer = client.post("/v1/recalls", json={"fault": fault, **more})
    assert answer.status_code == 201, answer.get_json()
    found: Json = answer.get_json()
    return found


def record(client: Any, *calibrations: Json) -> None:
    for one in calibrations:
        answer = client.post("/v1/calibrations", json=answered(one))
        assert answer.status_code == 201, answer.get_json()


def told(client: Any, number: str) -> Json:
    """What the notice of the first recall says of how an item reads now."""
    answer = client.post("/v1/recalls/1/notices", json={"by": "A. Quill", "replace": True})
    assert answer.status_code == 201, answer.get_json()
    (notice,) = answer.get_json()["items"]
    shown = client.get(f"/v1/recalls/1/notices/{notice['id']}").get_json()
    (found,) = (one for one in shown["content"]["certificates"] if one["certificate"] == number)
    return dict(found["may_read_wrong_now"])


def test_a_later_certificate_that_is_in_doubt_itself_is_no_comfort(laboratory, recheck):
    report(laboratory)
    record(laboratory, cal("C-3", "A", "05-01", [ref("WS")]))
    assert told(laboratory, "C-1")["answer"] == "yes"  # while that is being worked out
    recheck()
    assert told(laboratory, "C-1")["answer"] == "yes"
    record(laboratory, cal("C-4", "A", "06-01", [ref("GOOD")]))
    recheck()
    assert told(laboratory, "C-1")["answer"] == "no"
    # Another fault concerns C-4, too.
    report(laboratory, FAULT | {"item": "GOOD"})
    assert told(laboratory, "C-1")["answer"] == "yes"


def test_a_certificate_under_review_says_by_which_recall(laboratory, recheck):
    report(laboratory)
    record(laboratory, cal("C-3", "A", "05-01", [ref("WS")]))
    waiting = {"id": 1, "number": "R-00001", "class": None}
    assert laboratory.get("/v1/certificates/C-3").get_json()["reviewed_by"] == [waiting]
    recheck()
    found = laboratory.get("/v1/certificates/C-3").get_json()
    assert (found["recall_state"], found["recalls"]) == ("under_review", [])
    assert found["reviewed_by"] == [waiting | {"class": "affected"}]
    assert laboratory.get("/v1/certificates/C-1").get_json()["reviewed_by"] == []


def test_the_cause_names_every_write_that_may_have_been_it(laboratory, recheck):
    report(laboratory)
    record(laboratory, cal("C-3", "A", "05-01", [ref("WS")]))
    record(laboratory, cal("Z-1", "GOOD", "05-01", [ref("ROOT")]))  # concerns nobody
    record(laboratory, cal("C-4", "B", "05-02", [ref("WS")]))
    recheck()
    cause = laboratory.get("/v1/recalls/1").get_json()["staleness"]["cause"]
    assert [number in cause for number in ("C-3", "Z-1", "C-4")] == [True, False, True]


def test_a_second_look_answers_a_closed_case_again_when_records_return(laboratory, recheck):
    first = report(laboratory)
    told = {"customers": ["Corvane Offshore"], "reason": "told by telephone"} | {"by": "A. Quill"}
    assert laboratory.post("/v1/recalls/1/notice-exceptions", json=told).status_code == 201
    closed(laboratory, first)
    record(laboratory, cal("C-3", "A", "05-01", [ref("WS")]))
    recheck()
    report(laboratory, previous=1)
    assert listed(laboratory, reopen="true") == []
    address = "/v1/certificates/C-2/uses/0/corrections"
    for weight, reopened in (("0.5", [1]), (None, [])):
        body = {"use": ref("WS", weight)} | SAID
        assert laboratory.post(address, json=body).status_code == 201
        recheck()
        # The second look says again all that the first one lacks.
        assert listed(laboratory, reopen="true") == reopened


def test_a_history_entry_says_so_if_only_the_window_is_another(laboratory, recheck):
    report(laboratory, FAULT | {"last_good_at": "2025-01-02T00:00:00Z"})
    check = {"id": "CH", "item": "REF", "at": "2025-01-03T00:00:00Z", "result": "pass"}
    check |= {"acceptance_limit_rel": "0.0001", "U_rel": "0.0001", "independent": True}
    assert laboratory.post("/v1/checks", json=check | {"covers": "full range"}).status_code == 201
    recheck()
    (entry,) = laboratory.get("/v1/recalls/1").get_json()["staleness"]["history"]
    assert set(entry["counts"].values()) == {0}
    assert entry["windows"]["to"][0]["start"] != entry["windows"]["from"][0]["start"]


def test_a_void_whose_date_nobody_knew_is_dated_once(client):
    lost = cal("W-1", "WS", "01-10", [ref("REF")], status="voided", void_reason="lost")
    assert client.post("/v1/imports", json=lab(lost)).status_code == 201
    address = "/v1/certificates/W-1/void"
    refused = client.post(address, json={"reason": "found"})
    assert refused.status_code == 409
    assert "voided_at" in refused.get_json()["errors"][0]["remedy"]
    dated = {"reason": "found", "voided_at": "2025-02-01T00:00:00Z"}
    assert client.post(address, json=dated).get_json()["voided_at"] == dated["voided_at"]
    assert client.get("/v1/certificates/W-1").get_json()["void_reason"] == "lost"
    again = client.post(address, json=dated | {"voided_at": "2025-03-01T00:00:00Z"})
    assert again.status_code == 409
    assert dated["voided_at"] in again.get_json()["errors"][0]["detail"]


def test_what_was_performed_in_the_future_by_a_slip_can_be_voided(client):
    # By a clock that is ahead; more than a day of it is refused.
    at = (datetime.now(UTC) + timedelta(hours=20)).strftime("%Y-%m-%dT%H:%M:%SZ")
    slip = cal("W-1", "WS", at, [])
    assert client.post("/v1/imports", json=lab(slip)).status_code == 201
    body = client.post("/v1/certificates/W-1/void", json={"reason": "today was meant"}).get_json()
    assert (body["status"], body["voided_at"]) == ("voided", at)


def test_an_isolated_item_is_not_used_by_way_of_a_correction_either(laboratory):
    report(laboratory, FAULT | {"isolated_at": "2025-03-01T00:00:00Z"})
    record(laboratory, cal("C-3", "A", "05-01", [ref("GOOD")]))
    address = "/v1/certificates/C-3/uses"
    refused = laboratory.post(address, json={"use": ref("REF")} | SAID)
    assert refused.status_code == 409
    (error,) = refused.get_json()["errors"]
    assert (error["pointer"], error["code"]) == ("/use/item", "isolated")
    assert "override" in error["remedy"]
    override = {"override": {"by": "A. Quill", "reason": "it was used, whatever was ordered"}}
    assert laboratory.post(address, json={"use": ref("REF") | override} | SAID).status_code == 201


def test_a_role_that_nobody_recorded_is_said_to_be_none(laboratory):
    limited = FAULT | {"only": {"roles": ["Force_reference"]}}
    notes = laboratory.post("/v1/recalls", json={"fault": limited, "preview": True}).get_json()
    (note,) = notes["notes"]
    assert 'no record has REF in the role "Force_reference"' in note
    assert "recorded are: force_reference" in note
    right = FAULT | {"only": {"roles": ["force_reference"]}}
    answer = laboratory.post("/v1/recalls", json={"fault": right, "preview": True})
    assert answer.get_json()["notes"] == []


def test_a_table_says_of_what_is_not_excluded_that_it_may_have_been(client):
    # Nothing is recorded in the role of the pin.
    records = lab(
        cal("C-1", "A", "02-01", [ref("ROOT")]),
        kinds={"PIN": "adapter_part", "ADP": "adapter"},
        composition=[{"assembly": "ADP", "part": "PIN", "from": "2025-01-01T00:00:00Z"}],
    )
    assert client.post("/v1/imports", json=records).status_code == 201
    report(client, {"item": "PIN", "kind": "unknown"} | OPEN)
    text = client.get("/v1/recalls/1/export.csv?lists=cannot_be_excluded").text
    assert "PIN may have been used for C-1" in text
