"""Customers that are sent no notice stand in the case with a name and a reason."""

from __future__ import annotations

HARBOUR, QUARRY = "Harbour Cranes", "Quarry & Söhne"


def test_a_reason_why_not_stands_with_its_person(recalled):
    made = recalled.excepted(QUARRY, reason="it is a department of ours, told in the meeting")
    assert made.status_code == 201
    shown = made.get_json()["customers"]
    (exception,) = shown["exceptions"]
    assert exception.pop("at").endswith("Z")
    assert exception == {
        "customer": QUARRY,
        "by": "Robin Manager",
        "reason": "it is a department of ours, told in the meeting",
    }
    assert (shown["concerned"], shown["told"], shown["named"]) == (2, 0, [HARBOUR])


def test_who_is_not_concerned_is_named_and_nothing_is_stored(recalled):
    refused = recalled.excepted(HARBOUR, "Pier Works")
    assert refused.status_code == 422
    (error,) = refused.get_json()["errors"]
    assert (error["pointer"], error["value"]) == ("/customers/1", "Pier Works")
    assert recalled.case().get_json()["customers"]["exceptions"] == []


def test_nobody_is_left_out_without_a_name_and_a_reason(recalled):
    refused = recalled.client.post(f"{recalled.at}/notice-exceptions", json={"customers": [QUARRY]})
    assert refused.status_code == 422
    assert {one["pointer"] for one in refused.get_json()["errors"]} == {"/by", "/reason"}


def test_a_closed_case_takes_no_more_exceptions(recalled):
    recalled.excepted()
    for name in ("affected", "indeterminate"):
        recalled.dispose(list=name)
    for state in ("assessed", "notified", "closed"):
        recalled.step(state)
    assert recalled.excepted(QUARRY).status_code == 409


def test_the_version_that_was_read_is_honoured_where_it_is_sent(recalled):
    etag = recalled.case().headers["ETag"]
    recalled.dispose(certificates=["C-1"])
    body = {"customers": [QUARRY], "by": "R", "reason": "r"}
    address = f"{recalled.at}/notice-exceptions"
    assert recalled.client.post(address, json=body, headers={"If-Match": etag}).status_code == 412


def test_a_customers_key_may_not_leave_anybody_out(recalled, keys):
    headers = keys.headers("read", "recall", customer=QUARRY)
    body = {"customers": [QUARRY], "by": "R", "reason": "r"}
    address = f"{recalled.at}/notice-exceptions"
    assert recalled.client.post(address, json=body, headers=headers).status_code == 403
