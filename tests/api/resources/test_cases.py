"""The case of a recall over HTTP: its steps, the resumption of work, similar items."""

from __future__ import annotations

import json

import pytest
from oracle_cases import answered, cal, force_fault, lab


def test_a_stored_recall_opens_a_case(recalled):
    shown = recalled.case()
    assert shown.get_json() == {
        "recall": 1,
        "number": "R-00001",
        "state": "open",
        "version": 1,
        "assessed_by": None,
        "resumption": None,
        "history": [],
        "corrective": {
            "cause": None,
            "corrective_action": None,
            "effectiveness_review": None,
            "history": [],
        },
        "customers": {
            "concerned": 2,
            "told": 0,
            "missing": 2,
            "named": ["Harbour Cranes", "Quarry & Söhne"],
            "told_otherwise": {"count": 0, "named": []},
            "without_customer": {"missing": 0, "named": []},
            "exceptions": [],
        },
        "dispositions": {"needed": 4, "missing": 4, "by_action": {}},
        "outstanding": {name: {"remaining": 0, "named": []} for name in ("reissue", "withdraw")},
        "notices": {"created": 0, "delivered": 0, "acknowledged": 0},
        "stale": False,
        "reopen": False,
        "looked_at_again": None,
    }
    assert shown.headers["ETag"]


def test_a_closed_case_says_what_was_decided_and_is_still_to_be_done(recalled):
    # C-1 has a draft, C-3 none, and C-2 and C-4 are to be withdrawn; C-4 is voided in time.
    recalled.dispose("reissue", certificates=["C-1", "C-3"])
    recalled.dispose("withdraw", certificates=["C-2", "C-4"])
    drafted = recalled.client.post(f"{recalled.at}/revisions/C-1", json={"by": "Robin Manager"})
    assert drafted.status_code == 201, drafted.text
    recalled.excepted()
    for state in ("assessed", "notified"):
        recalled.step(state)
    recalled.client.get(f"{recalled.at}?exact=true")
    closed = recalled.step("closed")
    assert closed.status_code == 200, closed.text
    left = closed.get_json()["outstanding"]
    assert left["reissue"]["remaining"] == left["withdraw"]["remaining"] == 2
    named = [one for action in ("reissue", "withdraw") for one in left[action]["named"]]
    assert [(one["certificate"], one["lacks"]) for one in named] == [
        ("C-1", "issue"),
        ("C-3", "draft"),
        ("C-2", "void"),
        ("C-4", "void"),
    ]
    recalled.client.post("/v1/certificates/C-4/void", json={"reason": "withdrawn"})
    recalled.client.post(
        "/v1/certificates/C-1/issue?revision=1", json=answered({"issued_at": "2025-07-15"})
    )
    left = recalled.case().get_json()["outstanding"]
    names = [[one["certificate"] for one in left[a]["named"]] for a in ("reissue", "withdraw")]
    assert names == [["C-3"], ["C-2"]]
    lines = recalled.client.get(f"{recalled.at}/export.ndjson").text.splitlines()
    assert json.loads(lines[-1])["outstanding"] == left
    said = {one.get("certificate"): one.get("disposition") for one in map(json.loads, lines)}
    assert said["C-3"]["still_lacks"] == "draft"
    assert "still_lacks" not in said["C-1"]


def test_a_case_goes_step_by_step_and_keeps_who_when_and_why(recalled):
    assert recalled.step("assessed", reason="shift above U").status_code == 200
    recalled.excepted()
    assert recalled.step("notified", by="Ada Office").status_code == 200
    recalled.dispose(list="affected")
    recalled.dispose(list="indeterminate")
    closed = recalled.step("closed").get_json()
    assert closed["state"] == "closed"
    steps = [(one["from"], one["to"], one["by"]) for one in closed["history"]]
    assert steps == [
        ("open", "assessed", "Quinn Assessor"),
        ("assessed", "notified", "Ada Office"),
        ("notified", "closed", "Quinn Assessor"),
    ]
    assert closed["history"][0]["reason"] == "shift above U"
    assert closed["history"][0]["at"].endswith("Z")
    assert closed["assessed_by"] == "Quinn Assessor"


@pytest.mark.parametrize("state", ["open", "notified", "closed"])
def test_a_step_cannot_be_left_out_or_repeated(recalled, state):
    refused = recalled.step(state)
    assert refused.status_code == 409
    assert refused.get_json()["errors"][0]["remedy"] == 'the next state is "assessed"'


def test_a_step_names_the_version_that_was_read(recalled):
    address, body = f"{recalled.at}/case", {"state": "assessed", "by": "Q", "reason": "r"}
    assert recalled.client.patch(address, json=body).status_code == 428
    etag = recalled.case().headers["ETag"]
    recalled.dispose(certificates=["C-1"])
    assert recalled.step("assessed", etag=etag).status_code == 412
    assert recalled.case().get_json()["state"] == "open"


def test_a_step_has_a_person_and_a_reason(recalled):
    headers = {"If-Match": recalled.case().headers["ETag"]}
    refused = recalled.client.patch(
        f"{recalled.at}/case", json={"state": "assessed"}, headers=headers
    )
    assert refused.status_code == 422
    assert {one["pointer"] for one in refused.get_json()["errors"]} == {"/by", "/reason"}


def test_a_case_closes_only_when_every_certificate_is_decided(recalled):
    recalled.step("assessed")
    recalled.excepted()
    recalled.step("notified")
    recalled.dispose(certificates=["C-1", "C-3"])
    refused = recalled.step("closed")
    assert refused.status_code == 409
    assert "2 certificate(s) lack a disposition" in refused.get_json()["detail"]
    named = [one["value"] for one in refused.get_json()["errors"]]
    assert named == ["C-2 rev. 0", "C-4 rev. 0"]
    assert recalled.case().get_json()["state"] == "notified"


def test_work_resumes_by_the_word_of_another_person_than_the_assessor(recalled):
    assert recalled.resume().status_code == 409  # nobody has assessed it yet
    recalled.step("assessed", by="Quinn Assessor")
    own = recalled.resume(by="  quinn   ASSESSOR ")
    assert own.status_code == 409
    assert own.get_json()["errors"][0]["pointer"] == "/by"
    resumed = recalled.resume(by="Robin Manager", reason="recalibrated, check passed")
    assert resumed.status_code == 200
    resumption = resumed.get_json()["resumption"]
    assert (resumption["by"], resumption["reason"]) == (
        "Robin Manager",
        "recalibrated, check passed",
    )
    assert recalled.resume(by="Somebody Else").status_code == 409


def test_the_case_of_an_unknown_recall_is_not_found(client):
    assert client.get("/v1/recalls/9/case").status_code == 404


def test_a_customers_key_sees_no_case(recalled, keys):
    headers = keys.headers("read", "recall", customer="Harbour Cranes")
    for part in ("case", "dispositions", "similar"):
        answer = recalled.client.get(f"{recalled.at}/{part}", headers=headers)
        assert answer.status_code == 403, part


def test_a_preview_opens_no_case(recalled):
    recalled.client.post("/v1/recalls", json={"fault": force_fault("REF"), "preview": True})
    assert recalled.client.get("/v1/recalls/2/case").status_code == 404


ADAPTERS = [
    {"id": "ADP-1", "kind": "adapter", "type": "clevis", "properties": {"batch": "B7"}},
    {
        "id": "ADP-2",
        "kind": "adapter",
        "type": "clevis",
        "properties": {"batch": "B7", "supplier": "Smith"},
    },
    {"id": "ADP-3", "kind": "adapter", "type": "shackle", "properties": {"batch": "B7"}},
    {"id": "ADP-4", "kind": "adapter", "type": "clevis", "properties": {"batch": "B8"}},
    {"id": "ADP-5", "kind": "adapter", "type": "clevis"},
]


def outside(number, item, issuer, **more):
    return cal(number, item, "01-05", [], external=True, issuer=issuer, **more)


def test_items_with_something_in_common_are_suggested_with_the_reason(client):
    records = lab(
        outside("X-1", "ADP-1", "Metrology Institute"),
        outside("X-1", "REF-9", "Metrology Institute", revision=1, status="superseded"),
        outside("X-2", "REF-8", "Metrology Institute"),
        outside("X-1", "REF-7", "Another Body"),
    )
    records["items"] = [one for one in records["items"] if one["id"] != "ADP-1"] + ADAPTERS
    assert client.post("/v1/imports", json=records).status_code == 201
    client.post("/v1/recalls", json={"fault": force_fault("ADP-1")})
    answer = client.get("/v1/recalls/1/similar").get_json()
    assert {one["item"]: one["reasons"] for one in answer["items"]} == {
        "ADP-2": ["the same batch (B7) as ADP-1"],
        "REF-8": ["calibrated by the same external laboratory, Metrology Institute, as ADP-1"],
        "REF-9": ["calibrated under the same external certificate, X-1, as ADP-1"],
    }
    assert "authorised person" in answer["caution"]


def test_a_certificate_says_at_once_whether_it_may_be_relied_on(recalled):
    def state(number):
        return recalled.client.get(f"/v1/certificates/{number}").get_json()["recall_state"]

    assert [state(number) for number in ("C-1", "C-4")] == ["recalled", "under_review"]
    recalled.dispose("no_action", certificates=["C-2", "C-4"], justification="too small")
    recalled.dispose("reissue", certificates=["C-3"])
    assert [state(f"C-{n}") for n in (1, 2, 3, 4)] == ["recalled", "none", "recalled", "none"]
    recalled.dispose("withdraw", certificates=["C-4"])
    assert state("C-4") == "recalled"


def test_a_second_look_takes_the_place_of_the_first_for_what_it_lists(recalled):
    def state(number):
        shown = recalled.client.get(f"/v1/certificates/{number}").get_json()
        return shown["recall_state"], [one["id"] for one in shown["recalls"]]

    recalled.dispose("no_action", certificates=["C-2"], justification="too small")
    assert state("C-2") == ("none", [1])
    recalled.report(force_fault("REF"), previous=1)
    # What was decided of the first look is to be decided anew.
    assert state("C-2") == ("recalled", [2, 1])


def test_what_a_second_look_lists_no_longer_is_freed_by_a_person_alone(recalled):
    def state():
        return recalled.client.get("/v1/certificates/C-1").get_json()["recall_state"]

    narrower = force_fault("REF", last_good_at="2025-02-15T00:00:00Z")
    second = recalled.report(narrower, previous=1)
    assert "C-1" in json.dumps(second["cleared"])
    assert state() == "under_review"
    # In the first look it fails, so its customer reads why nothing is done.
    why = {"reason_for_customer": "It was calibrated before the fault arose."}
    recalled.dispose("no_action", certificates=["C-1"], justification="outside the window", **why)
    assert state() == "none"
    recalled.dispose("withdraw", certificates=["C-1"])
    assert state() == "recalled"


def test_a_list_of_certificates_says_which_may_not_be_relied_on(recalled):
    recalled.dispose("no_action", certificates=["C-2"], justification="too small")
    shown = recalled.client.get("/v1/certificates?limit=100").get_json()["items"]
    states = {one["certificate"]: one["recall_state"] for one in shown}
    assert [states[f"C-{n}"] for n in (1, 2, 4)] == ["recalled", "none", "under_review"]
