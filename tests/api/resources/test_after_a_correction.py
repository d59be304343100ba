"""What follows a corrected revision: uses that are put right, other faults.

The arithmetic is that of the recall of `conftest`: delta 0.0005 of 10 kN, so that C-1, which stated
-0.004 kN, states -0.009 kN in its revision 1.
"""

from __future__ import annotations

import json

import pytest
from oracle_cases import answered, cal, lab, ref, row

from api.services.upkeep.verification import verify

BY = {"by": "Robin Manager"}


def issued(made, number, revision, **more):
    sent = answered({"issued_at": "2025-07-15T08:00:00Z"} | more)
    address = f"/v1/certificates/{number}/issue?revision={revision}"
    return made.client.post(address, json=sent)


def drafted(made, number, recall=1):
    found = made.client.post(f"/v1/recalls/{recall}/revisions/{number}", json=BY)
    assert found.status_code == 201, found.text
    return found.get_json()


@pytest.fixture
def corrected(recalled):
    """C-1 corrected and issued anew."""
    drafted(recalled, "C-1")
    assert issued(recalled, "C-1", 1).status_code == 200
    return recalled


def looked_at_again(made, previous=1, **more):
    fault = {n: v for n, v in (made.recall["faults"][0] | more).items() if v is not None}
    found = made.client.post("/v1/recalls", json={"fault": fault, "previous": previous})
    assert found.status_code == 201, found.text
    return json.loads(found.text)


def find(answer, number, where="affected"):
    """The one entry of a certificate in a list."""
    (found,) = [one for one in answer[where] if one["certificate"] == number]
    return found


def names(entries):
    return {(one["certificate"], one["revision"]) for one in entries}


@pytest.fixture
def another_standard(recalled):
    """The laboratory of `recalled`, with a standard that is not faulty."""
    item = {"id": "REF-2", "kind": "reference_standard"}
    assert recalled.client.post("/v1/items", json=item).status_code == 201
    return recalled


def used_the_other(made, revision):
    at = f"/v1/certificates/C-1/uses/0/corrections?revision={revision}"
    sent = {"use": ref("REF-2"), "by": "Robin Manager", "reason": "a slip of the pen"}
    answer = made.client.post(at, json=sent)
    assert answer.status_code == 201, answer.text


def test_a_draft_whose_use_is_put_right_is_not_issued_with_its_correction(another_standard):
    made = another_standard
    drafted(made, "C-1")
    used_the_other(made, 1)
    sent = {"issued_at": "2025-07-15T08:00:00Z"}
    refused = made.client.post("/v1/certificates/C-1/issue?revision=1", json=sent)
    assert refused.status_code == 409
    said = {one["code"]: one["detail"] for one in refused.get_json()["errors"]}
    assert said["in_doubt"] == "recall R-00001 would list it as affected"


def test_a_use_put_right_after_the_issue_gives_back_what_was_taken(another_standard, recheck):
    made = another_standard
    drafted(made, "C-1")
    assert issued(made, "C-1", 1).status_code == 200
    used_the_other(made, 1)
    recheck()
    assert made.client.get(made.at).get_json()["stale"] is True
    second = looked_at_again(made)
    entry = find(second, "C-1")
    assert entry["revision"] == 1
    assert entry["points"][0]["corrected_error"] == "-0.004"
    shown = made.client.get("/v1/recalls/2/explanations/C-1?revision=1").get_json()
    (path,) = shown["paths"]
    assert path["path"] == ["REF", "C-1"]
    assert path["sentence"] == "What a look before took on this way is given back: REF > C-1."
    etag = made.client.get("/v1/laboratory").headers["ETag"]
    named = {"name": "Marrowvale Force Laboratory", "contact": "quality@example.org"}
    made.client.patch("/v1/laboratory", json=named, headers={"If-Match": etag})
    sent = made.client.post("/v1/recalls/2/notices", json=BY)
    assert sent.status_code == 201, sent.text
    content = made.client.get("/v1/recalls/2/notices/1").get_json()["content"]
    told = {one["certificate"]: one["effect"] for one in content["certificates"]}
    assert told["C-1"].startswith("A correction that we made to this certificate")
    assert told["C-2"] == "The results change as shown."


def test_what_is_given_back_keeps_the_way_on_which_it_came(recall_of, database):
    made = recall_of(
        lab(
            cal("W-1", "WS", "02-01", [ref("REF")], [row(error="0.001")], customer="Pier"),
            cal("C-1", "I-1", "03-01", [ref("WS")], [row(error="-0.001")], customer="Pier"),
        )
    )
    drafted(made, "C-1")
    assert issued(made, "C-1", 1).status_code == 200
    item = {"id": "REF-2", "kind": "reference_standard"}
    assert made.client.post("/v1/items", json=item).status_code == 201
    found = find(looked_at_again(made, item="REF-2"), "C-1")
    assert found["reason_paths"] == [["REF", "W-1", "WS", "C-1"]]
    assert found["generation"] == 2
    with database.read() as session:
        assert verify(session).findings == []


def test_what_was_voided_since_is_not_drafted_again(recalled):
    gone = recalled.client.post("/v1/certificates/C-1/void", json={"reason": "measured again"})
    assert gone.status_code == 200, gone.text
    for path, body in (("revisions/C-1", BY), ("revisions", BY | {"certificates": ["C-1"]})):
        refused = recalled.client.post(f"{recalled.at}/{path}", json=body)
        assert refused.status_code == 409
        assert "it is voided" in refused.text


def test_a_fault_found_elsewhere_that_does_the_same_leaves_nothing(corrected):
    # The certificate of REF was wrong by 0.0005, and not REF: what was taken of C-1 stays.
    external = answered(
        cal("E-1", "REF", "2024-06-01", [], [row()], external=True, issuer="An institute")
    )
    assert corrected.client.post("/v1/calibrations", json=external).status_code == 201
    fault = {"certificate": "E-1", "issuer": "An institute"}
    second = looked_at_again(corrected, item=None, U_delta_rel=None, **fault)
    assert names(second["affected"]) == {("C-2", 0), ("C-3", 0)}
    assert ("C-1", 1, "corrected") in {
        (one["certificate"], one["revision"], one["reason"]) for one in second["cleared"]
    }


@pytest.mark.parametrize("previous", [None, 1])
def test_both_ends_of_a_bounded_fault_move_by_what_was_taken(corrected, previous):
    # In [-0.0005, 0.0005], less 0.0005: [-0.001, 0] of 10 kN, so that -0.009 is -0.009 to 0.001.
    fault = corrected.recall["faults"][0] | {"kind": "interval", "bound_rel": "0.0005"}
    for name in ("delta_rel", "U_delta_rel"):
        del fault[name]
    sent = {"fault": fault, "preview": True} | ({"previous": 1} if previous else {})
    answer = corrected.client.post("/v1/recalls", json=sent)
    assert answer.status_code == 200, answer.text
    (point,) = find(json.loads(answer.text), "C-1")["points"]
    assert point["delta_rel"] == {"lower": "-0.001", "upper": "0"}
    assert point["corrected_error"] == {"lower": "-0.009", "upper": "0.001"}
    assert find(json.loads(answer.text), "C-1")["reason_paths"] == [["REF", "C-1"]]


@pytest.mark.parametrize("previous", [0, 999])
def test_a_preview_of_a_look_at_nothing_is_refused_as_it_would_be_stored(recalled, previous):
    sent = {"fault": recalled.recall["faults"][0], "previous": previous}
    for more in ({"preview": True}, {}):
        refused = recalled.client.post("/v1/recalls", json=sent | more)
        assert refused.status_code == 422
        assert refused.get_json()["errors"][0]["pointer"] == "/previous"


def test_who_withdraws_a_fault_that_was_corrected_for_names_the_look(corrected):
    none = corrected.recall["faults"][0] | {"delta_rel": "0"}
    del none["U_delta_rel"]
    refused = corrected.client.post("/v1/recalls", json={"fault": none, "preview": True})
    assert refused.status_code == 422
    (error,) = refused.get_json()["errors"]
    assert (error["pointer"], "R-00001" in error["detail"]) == ("/previous", True)
    # Beside another fault of the same item too, whichever is named first.
    other = none | {"delta_rel": "0.0001", "channel": "A"}
    for faults in ([none, other], [other, none]):
        sent = {"faults": faults, "preview": True}
        assert corrected.client.post("/v1/recalls", json=sent).status_code == 422
    another = none | {"item": "I-2"}
    assert corrected.client.post("/v1/recalls", json={"fault": another}).status_code == 201


def test_a_shorter_window_that_names_no_look_says_for_which_it_might_be(corrected):
    # C-1 of 1 February lies outside: whether what was taken from it is given back, `previous` says.
    shorter = corrected.recall["faults"][0] | {"last_good_at": "2025-02-15T00:00:00Z"}
    sent = {"fault": shorter, "preview": True}
    alone = corrected.client.post("/v1/recalls", json=sent).get_json()
    assert ("C-1", 1) not in names(alone["affected"])
    (note,) = alone["notes"]
    assert note.startswith("certificates were corrected for R-00001, of the same REF: if this is")
    named = corrected.client.post("/v1/recalls", json=sent | {"previous": 1}).get_json()
    assert ("C-1", 1) in names(named["affected"])
    assert named["notes"] == []
