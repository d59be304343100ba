"""Customers that are sent no notice stand in the case with a name and a reason."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref

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


@pytest.fixture
def ownerless(recall_of):
    """Four affected certificates without customer: of a customer's item, a stranger's, nobody's.

    The fourth is of a standard of the house, which is told to nobody.
    """
    own = {"I-1": {"owner": HARBOUR}, "I-2": {"owner": "Pier Works"}, "I-3": {}}
    made = lab(
        *(cal(f"C-{n}", f"I-{n}", f"0{n}-05", [ref("REF")]) for n in (1, 2, 3, 4)),
    )
    for item in made["items"]:
        if item["id"] in own:
            item |= {"kind": "customer_instrument"} | own[item["id"]]
    found = recall_of(made)
    assert found.client.post("/v1/customers", json={"name": HARBOUR}).status_code == 201
    return found


def test_the_owner_of_an_item_is_told_where_its_certificate_names_no_customer(ownerless):
    shown = ownerless.case().get_json()["customers"]
    assert (shown["concerned"], shown["named"]) == (1, [HARBOUR])
    client, named = ownerless.client, {"name": "Marrowvale", "contact": "quality@example.org"}
    etag = client.get("/v1/laboratory").headers["ETag"]
    client.patch("/v1/laboratory", json=named, headers={"If-Match": etag})
    made = client.post(f"{ownerless.at}/notices", json={"by": "R"}).get_json()["items"]
    assert [one["customer"] for one in made] == [HARBOUR]
    told = client.get(f"{ownerless.at}/notices/1").get_json()["content"]["certificates"]
    assert [one["certificate"] for one in told] == ["C-1"]


def test_nobody_is_forgotten_because_no_customer_was_written_down(ownerless):
    lost = [{"certificate": f"C-{n}", "revision": 0} for n in (2, 3)]
    shown = ownerless.case().get_json()["customers"]["without_customer"]
    assert shown == {"missing": 2, "named": lost}
    ownerless.excepted(HARBOUR)
    ownerless.step("assessed")
    refused = ownerless.step("notified")
    assert refused.status_code == 409
    assert [one["value"] for one in refused.get_json()["errors"]] == ["C-2 rev. 0", "C-3 rev. 0"]
    address, said = f"{ownerless.at}/notice-exceptions", {"by": "R", "reason": "scrapped"}
    body = said | {"certificates": ["C-3", "C-2"]}
    made = ownerless.client.post(address, json=body)
    assert made.status_code == 201, made.text
    exceptions = made.get_json()["customers"]["exceptions"]
    assert {one.get("certificate") for one in exceptions} == {None, "C-2", "C-3"}
    assert ownerless.step("notified").status_code == 200


@pytest.mark.parametrize("number", ["C-1", "C-4", "GHOST"])
def test_only_certificates_without_anybody_to_tell_are_excepted(ownerless, number):
    body = {"certificates": ["C-2", number], "by": "R", "reason": "scrapped"}
    refused = ownerless.client.post(f"{ownerless.at}/notice-exceptions", json=body)
    assert refused.status_code == 422
    assert [one["value"].split()[0] for one in refused.get_json()["errors"]] == [number]
    assert ownerless.case().get_json()["customers"]["exceptions"] == []
