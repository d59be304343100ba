"""Revisions by hand after a corrected one: what was taken from it stays taken, or does not.

C-1 stated -0.004 kN at 10 kN; a fault of 0.0005 was taken from it, so that its revision 1 states
-0.004 - 0.0005 x 10 = -0.009 kN.
"""

from __future__ import annotations

import json

import pytest
from oracle_cases import answered, cal, force_fault, lab, percent, ref, row

BY = {"by": "Robin Manager"}
FIRST = row(error="-0.004")


@pytest.fixture
def recalled(client):
    """Post to the laboratory of C-1, with this result, after the recall that found it."""

    def made(result=FIRST):
        def post(path, body):
            return client.post(path, json=body)

        laboratory = lab(cal("C-1", "I-1", "02-01", [ref("REF")], [result], customer="Harbour"))
        assert post("/v1/imports", laboratory).status_code == 201
        assert post("/v1/recalls", {"fault": force_fault()}).status_code == 201
        return post

    return made


@pytest.fixture
def corrected(recalled):
    """The same, with C-1 corrected and issued anew."""

    def made(result=FIRST):
        post = recalled(result)
        assert post("/v1/recalls/1/revisions/C-1", BY).status_code == 201
        sent = answered({"issued_at": "2026-01-15T08:00:00Z"})
        assert post("/v1/certificates/C-1/issue?revision=1", sent).status_code == 200
        return post

    return made


def by_hand(post, error="-0.009", status="issued", **more):
    record = answered(
        cal("C-1", "I-1", "02-01", [ref("REF")], [row(error=error)], customer="Harbour Cranes")
        | {"revision": 2, "status": status, "amendment": "the customer's name"}
        | more
    )
    return post("/v1/certificates/C-1/revisions", record)


def previewed(post, **more):
    """The revisions of C-1 that another look lists as affected, with their corrected errors."""
    fault = force_fault() | more
    answer = post("/v1/recalls", {"fault": fault, "previous": 1, "preview": True})
    assert answer.status_code == 200, answer.text
    return {
        one["revision"]: one["points"][0]["corrected_error"]
        for one in json.loads(answer.text)["affected"]
    }


def test_a_revision_that_states_the_corrected_errors_again_keeps_what_was_taken(corrected, client):
    post = corrected()
    first = client.get("/v1/certificates/C-1?revision=1").get_json()
    made = by_hand(post)
    assert made.status_code == 201, made.text
    assert made.get_json()["fault_corrections"] == first["fault_corrections"]
    grounds = client.get("/v1/certificates/C-1/grounds").get_json()
    assert "in_doubt" not in {one["code"] for one in grounds["today"]}
    # Not taken a second time, and given back if the fault was none: -0.009 + 0.005.
    assert previewed(post) == {}
    assert previewed(post, delta_rel="0") == {2: "-0.004"}


def test_a_revision_that_states_the_first_errors_again_keeps_nothing(corrected):
    post = corrected()
    made = by_hand(post, "-0.004", status="draft")
    assert made.status_code == 201, made.text
    assert "fault_corrections" not in made.get_json()
    sent = {"issued_at": "2026-01-16T08:00:00Z"}
    refused = post("/v1/certificates/C-1/issue?revision=2", sent)
    assert "in_doubt" in {one["code"] for one in refused.get_json()["errors"]}


def test_other_errors_must_say_whether_they_are_corrected_ones(corrected, client):
    post = corrected()
    refused = by_hand(post, "-0.0090001")
    assert refused.status_code == 422
    (error,) = refused.get_json()["errors"]
    assert error["pointer"] == "/keeps_corrections"
    assert "revision 1 was corrected for R-00001" in error["detail"]
    assert client.get("/v1/certificates/C-1?revision=2").status_code == 404
    kept = by_hand(post, "-0.0090001", status="draft", keeps_corrections=True)
    assert kept.status_code == 201, kept.text
    assert [one["recall"] for one in kept.get_json()["fault_corrections"]] == ["R-00001"]


def test_what_was_measured_again_keeps_nothing(corrected):
    made = by_hand(corrected(), "-0.0041", status="draft", keeps_corrections=False)
    assert made.status_code == 201, made.text
    assert "fault_corrections" not in made.get_json()


@pytest.mark.parametrize("results", [[row(error="-0.009"), row(error="0") | {"point": 2}], []])
def test_corrections_of_other_points_are_not_kept(corrected, results):
    refused = by_hand(corrected(), keeps_corrections=True, results=results)
    assert refused.status_code == 422
    (error,) = refused.get_json()["errors"]
    assert (error["pointer"], error["value"]) == ("/keeps_corrections", "true")
    assert "revision 1 has others" in error["detail"]


def test_nothing_is_kept_of_what_was_not_corrected(recalled):
    post = recalled()
    refused = by_hand(post, keeps_corrections=True)
    assert refused.status_code == 422
    assert "no revision before was corrected" in refused.text
    assert by_hand(post, "-0.00401", status="draft").status_code == 201


def test_a_relative_error_that_was_corrected_is_known_again(corrected, client):
    post = corrected(percent("0.02", applied="10", unit="kN"))
    error = client.get("/v1/certificates/C-1").get_json()["results"][0]["error_rel_pct"]
    results = [percent(error, applied="10", unit="kN")]
    again = by_hand(post, results=results, status="draft")
    assert again.status_code == 201, again.text
    assert [one["recall"] for one in again.get_json()["fault_corrections"]] == ["R-00001"]
