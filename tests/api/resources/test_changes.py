"""The change feed over HTTP: what happened, in order, and where to go on."""

from __future__ import annotations

import pytest
from oracle_cases import answered, cal, lab, ref

HARBOUR = "Harbour Cranes"


def feed(client, query="", **more):
    return client.get(f"/v1/changes{query}", **more).get_json()


def events(answer):
    return [(one["event"], one.get("certificate")) for one in answer["items"]]


def test_the_feed_tells_of_everything_that_happens_to_a_certificate(client):
    client.post("/v1/imports", json=lab(cal("C-1", "I-1", "02-01", [ref("REF")], customer="A")))
    client.post("/v1/calibrations", json=cal("C-2", "I-1", "03-01", [ref("REF")], status="draft"))
    client.post("/v1/certificates/C-2/issue", json=answered({"issued_at": "2025-03-02"}))
    amended = cal("C-1", "I-1", "02-01", [ref("REF")], revision=1, amendment="typing error")
    client.post("/v1/certificates/C-1/revisions", json=answered(amended))
    client.post("/v1/certificates/C-2/void", json={"reason": "wrong item"})
    answer = feed(client)
    told = [
        (one["event"], one["certificate"], one["revision"], one.get("status"))
        for one in answer["items"]
    ]
    assert told == [
        ("certificate.recorded", "C-1", 0, "issued"),
        ("certificate.recorded", "C-2", 0, "draft"),
        ("certificate.issued", "C-2", 0, "issued"),
        ("certificate.superseded", "C-1", 0, None),
        ("certificate.recorded", "C-1", 1, "issued"),
        ("certificate.voided", "C-2", 0, "voided"),
    ]
    assert answer["items"][3]["superseded_by"] == "1"
    assert answer["items"][0]["item"] == "I-1"
    assert answer["cursor"] == answer["items"][-1]["cursor"]
    assert answer["next"] is None


def test_a_recall_is_told_certificate_by_certificate_and_then_what_is_done(recalled):
    client = recalled.client
    start = feed(client, "?events=certificate.recalled")
    assert [(one["certificate"], one["class"]) for one in start["items"]] == [
        ("C-1", "affected"),
        ("C-2", "affected"),
        ("C-3", "affected"),
        ("C-4", "indeterminate"),
    ]
    assert {one["recall_number"] for one in start["items"]} == {"R-00001"}
    recalled.dispose("withdraw", certificates=["C-3", "C-1"])
    recalled.step("assessed")
    recalled.resume()
    etag = client.get("/v1/laboratory").headers["ETag"]
    named = {"name": "Lab", "contact": "here"}
    client.patch("/v1/laboratory", json=named, headers={"If-Match": etag})
    client.post(f"{recalled.at}/notices", json={"by": "R", "customers": [HARBOUR]})
    rest = feed(client, f"?since={start['cursor']}")["items"]
    assert [(one["event"], one.get("certificate")) for one in rest] == [
        ("disposition.made", "C-1"),
        ("disposition.made", "C-3"),
        ("case.changed", None),
        ("case.changed", None),
        ("notice.created", None),
    ]
    assert [rest[0]["action"], rest[2]["state"], rest[3]["state"]] == [
        "withdraw",
        "assessed",
        "work resumed",
    ]
    assert rest[4]["notice"] == "R-00001-N01"
    assert not {"by", "justification"} & rest[0].keys()


def test_the_feed_is_followed_in_pages_and_goes_on_where_it_ended(recalled):
    found, address = [], "/v1/changes?limit=3&events=certificate.recorded,certificate.recalled"
    while address:
        answer = recalled.client.get(address)
        page = answer.get_json()
        assert ("Link" in answer.headers) is (page["next"] is not None)
        found += page["items"]
        address = page["next"]
    assert len(found) == 8
    cursors = [int(one["cursor"]) for one in found]
    assert cursors == sorted(set(cursors))
    last = page["cursor"]
    assert feed(recalled.client, f"?since={last}") == {"items": [], "cursor": last, "next": None}
    recalled.dispose(certificates=["C-1"])
    assert events(feed(recalled.client, f"?since={last}")) == [("disposition.made", "C-1")]


def test_what_was_refused_is_not_told(recalled):
    before = feed(recalled.client)["cursor"]
    late = cal("N-1", "I-1", "2025-08-01T00:00:00Z", [ref("REF")])
    assert recalled.client.post("/v1/calibrations", json=late).status_code == 409
    assert recalled.dispose(certificates=["GHOST"]).status_code == 422
    again = recalled.client.post("/v1/imports?dry_run=true", json=lab(cal("N", "I", "01-05", [])))
    assert again.status_code == 200
    assert feed(recalled.client)["cursor"] == before


def test_the_feed_starts_at_an_instant_where_one_is_given(recalled):
    everything = feed(recalled.client)["items"]
    at = everything[-1]["at"]
    since = feed(recalled.client, f"?since={at}")["items"]
    assert since
    assert since == [one for one in everything if one["at"] >= at]
    future = feed(recalled.client, "?since=2099-01-01")
    assert (future["items"], future["cursor"]) == ([], everything[-1]["cursor"])


def test_a_customers_key_follows_its_own_certificates_only(recalled, keys):
    recalled.dispose("withdraw", list="affected")
    headers = keys.headers("read", customer=HARBOUR)
    found = feed(recalled.client, headers=headers)["items"]
    assert {one["certificate"] for one in found} == {"C-1", "C-2"}
    assert {one["event"] for one in found} == {
        "certificate.recorded",
        "certificate.recalled",
        "disposition.made",
    }


@pytest.mark.parametrize(
    "query", ["since=yesterday", "since=99999999999999999999", "events=x", "limit=0", "from=1"]
)
def test_a_question_that_cannot_be_understood_is_refused(client, query):
    refused = client.get(f"/v1/changes?{query}")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["parameter"] == query.split("=")[0]
