"""Who is to be told of a recall, and who counts as told."""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref, row

from api.services.casework import told

HARBOUR, QUARRY = "Harbour Cranes", "Quarry & Söhne"
# C-1 is affected. The use of C-2 has a sister with the contrary weight: exposed, without effect.
LABORATORY = lab(
    cal("C-1", "I-1", "02-01", [ref("REF")], [row()], customer=HARBOUR),
    cal("C-2", "I-2", "03-01", [ref("REF"), ref("REF", "-1")], [row()], customer=QUARRY),
    cal("C-3", "I-3", "04-01", [ref("REF")], [row()]),
)


@pytest.fixture
def recalled(client):
    assert client.post("/v1/imports", json=LABORATORY).status_code == 201
    answer = client.post("/v1/recalls", json={"fault": force_fault("REF")}).get_json()
    assert [one["certificate"] for one in answer["exposed_zero_effect"]] == ["C-2"]
    return client


def missing(database):
    with database.read() as session:
        return told.progress(session, 1)["named"]


def decide(client, number, action):
    body = {"certificates": [number], "action": action, "by": "Q", "justification": "as agreed"}
    body["reason_for_customer"] = "as agreed with you"
    assert client.post("/v1/recalls/1/dispositions", json=body).status_code == 201


def test_who_is_exposed_without_effect_is_told_only_of_what_is_done(recalled, database):
    assert missing(database) == [HARBOUR]
    decide(recalled, "C-2", "recalibrate_free")
    assert missing(database) == [HARBOUR, QUARRY]
    decide(recalled, "C-2", "no_action")
    assert missing(database) == [HARBOUR]


def test_who_is_affected_is_told_whatever_is_done(recalled, database):
    decide(recalled, "C-1", "no_action")
    assert missing(database) == [HARBOUR]


def test_a_certificate_of_our_own_item_without_a_customer_concerns_none(recalled, database):
    with database.read() as session:
        found = told.progress(session, 1)
    assert (found["concerned"], found["without_customer"]["missing"]) == (1, 0)


def test_who_was_told_before_it_was_decided_is_named_until_told_again(recalled, database):
    def late():
        with database.read() as session:
            return told.progress(session, 1)["told_otherwise"]

    def notice(number, **more):
        assert recalled.post("/v1/recalls/1/notices", json={"by": "Q"} | more).status_code == 201
        record = {"to": HARBOUR, "how": "email", "by": "Q"}
        at = f"/v1/recalls/1/notices/{number}/deliveries"
        sent = recalled.post(at, json=record)
        assert sent.status_code == 201, sent.text

    etag = recalled.get("/v1/laboratory").headers["ETag"]
    named = {"name": "Marrowvale Force Laboratory", "contact": "quality@example.org"}
    recalled.patch("/v1/laboratory", json=named, headers={"If-Match": etag})
    notice(1)
    assert late() == {"count": 0, "named": []}
    decide(recalled, "C-1", "withdraw")
    assert late() == {"count": 1, "named": [HARBOUR]}
    shown = recalled.get("/v1/recalls/1/case").get_json()
    assert shown["customers"]["told_otherwise"]["named"] == [HARBOUR]
    notice(2, customers=[HARBOUR], replace=True)
    assert late() == {"count": 0, "named": []}
