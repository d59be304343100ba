"""Drafts of corrected revisions: what the recall says, and nothing else changed.

An amended certificate is a new one that names what it replaces (ISO/IEC 17025:2017, 7.8.8, from
memory). The arithmetic is that of the recall of `conftest`: delta 0.0005, U_delta 0.0002 (k = 2).
"""

from __future__ import annotations

import json

import pytest
from oracle_cases import answered, cal, lab, percent, ref, row

from api.services.upkeep.verification import verify


def draft(recalled, number="C-1", query="", **more):
    address = f"{recalled.at}/revisions/{number}{query}"
    return recalled.client.post(address, json={"by": "Robin Manager"} | more)


def drafts(recalled, **more):
    return recalled.client.post(f"{recalled.at}/revisions", json={"by": "Robin Manager"} | more)


def shown(recalled, number, revision):
    return recalled.client.get(f"/v1/certificates/{number}?revision={revision}")


def test_a_draft_is_the_next_revision_with_what_the_recall_corrected(recalled):
    before = shown(recalled, "C-1", 0).get_json()
    made = draft(recalled)
    assert made.status_code == 201, made.text
    found = made.get_json()
    assert (found["revision"], found["status"]) == (1, "draft")
    assert made.headers["Location"].endswith("/v1/certificates/C-1?revision=1")
    # -0.004 - 0.0005 x 10 = -0.009; U = 2 sqrt(0.001^2 + (10 x 0.0001)^2); |error| + U > 0.01
    (result,) = found["results"]
    was = before["results"][0]
    assert result == was | {
        "error": "-0.009",
        "U": "0.00282842712475",
        "verdict_reported": "fail",
        "verdict": "fail",
    }
    assert found["uses"] == before["uses"]
    for name in ("item", "customer", "performed_at"):
        assert found[name] == before[name]
    assert "R-00001" in found["amendment"]
    assert "revision 0" in found["amendment"]
    assert "issued_at" not in found
    assert shown(recalled, "C-1", 0).get_json()["status"] == "issued"


def test_a_draft_records_what_was_taken(recalled):
    (taken,) = draft(recalled).get_json()["fault_corrections"]
    assert taken.pop("at").endswith("Z")
    assert taken == {
        "recall": "R-00001",
        "faults": [{"item": "REF", "kind": "true_force_relative_error"}],
        "windows": [
            {
                "start": "2025-01-01T00:00:00Z",
                "start_inclusive": False,
                "end": "2025-06-30T12:00:00Z",
                "end_inclusive": True,
            }
        ],
        "by": "Robin Manager",
        # U_delta/k = 0.0002/2, which U holds from now on.
        "points": [{"point": 1, "stage": "single", "delta_rel": "0.0005", "u_rel": "0.0001"}],
        "reason_paths": [["REF", "C-1"]],
        "generation": 1,
    }
    assert "fault_corrections" not in shown(recalled, "C-1", 0).get_json()


def test_a_draft_that_is_issued_takes_the_place_of_the_one_before(recalled, database):
    draft(recalled, amendment="Corrected for the drift of our reference.")
    sent = answered({"issued_at": "2025-07-15"})
    issued = recalled.client.post("/v1/certificates/C-1/issue?revision=1", json=sent)
    assert issued.status_code == 200, issued.text
    assert issued.get_json()["amendment"] == "Corrected for the drift of our reference."
    assert shown(recalled, "C-1", 0).get_json()["status"] == "superseded"
    with database.read() as session:
        assert verify(session).findings == []


@pytest.mark.parametrize(
    ("number", "status", "said"),
    [("C-4", 409, "indeterminate"), ("GHOST", 404, "does not list")],
)
def test_what_cannot_be_corrected_is_refused_by_name(recalled, number, status, said):
    refused = draft(recalled, number)
    assert refused.status_code == status
    assert refused.get_json()["errors"][0]["value"].startswith(number)
    assert said in refused.text


def test_a_certificate_is_drafted_once(recalled):
    draft(recalled)
    again = draft(recalled)
    assert again.status_code == 409
    assert again.get_json()["errors"][0]["detail"] == "revision 1 is recorded already"


def test_all_that_is_to_be_reissued_is_drafted_at_once_and_only_once(recalled):
    recalled.dispose("reissue", certificates=["C-1", "C-3", "C-4"])
    recalled.dispose("withdraw", certificates=["C-2"])
    made = drafts(recalled).get_json()["items"]
    # C-4 is indeterminate: there is nothing to correct it by.
    assert [(one["certificate"], one["revision"]) for one in made] == [("C-1", 1), ("C-3", 1)]
    assert made[1]["results"][0]["error"] == "-0.011"
    assert drafts(recalled).get_json()["items"] == []


def test_of_several_that_are_named_all_are_drafted_or_none(recalled):
    refused = drafts(recalled, certificates=["C-1", "C-4"])
    assert refused.status_code == 409
    assert [one["value"] for one in refused.get_json()["errors"]] == ["C-4 rev. 0"]
    assert shown(recalled, "C-1", 1).status_code == 404
    made = drafts(recalled, certificates=["C-2", {"certificate": "C-1", "revision": 0}])
    assert [one["certificate"] for one in made.get_json()["items"]] == ["C-2", "C-1"]


def test_indication_and_error_agree_in_a_draft(recall_of):
    # Absolute: 9.996 - 10 = -0.004, both less 0.005. In percent of the true force:
    # 100 x (1.0002/1.0005 - 1) = -0.02998500749625187..., of 20 kN.
    recalled = recall_of(
        lab(
            cal(
                "C-1",
                "I-1",
                "02-01",
                [ref("REF")],
                [
                    row("10", "-0.004", indicated="9.996", error_rel_pct="-0.04"),
                    percent("0.02", point=2, applied="20", indicated="20.004", unit="kN"),
                ],
            )
        )
    )
    absolute, relative = draft(recalled).get_json()["results"]
    assert (absolute["indicated"], absolute["error"]) == ("9.991", "-0.009")
    assert "error_rel_pct" not in absolute
    assert relative["error_rel_pct"].startswith("-0.029985007")
    assert relative["indicated"].startswith("19.99400299")
    assert "error" not in relative


def test_a_rounded_error_leaves_no_contradiction_in_a_draft_and_a_recorded_one_stays(recall_of):
    # 9.9958 - 10 = -0.0042, stated as -0.004: one unit of its last digit is 0.001. Less 0.005 it is
    # -0.009, and 9.991 - 10 is just that. The 9.896 of point 2 was 0.1 off before, and is after.
    rows = [row("10", "-0.004", indicated="9.9958")]
    rows += [row("10", "-0.004", indicated="9.896") | {"point": 2}]
    recalled = recall_of(lab(cal("C-1", "I-1", "02-01", [ref("REF")], rows)))
    sound, wrong = draft(recalled).get_json()["results"]
    assert (sound["indicated"], sound["error"]) == ("9.991", "-0.009")
    assert (wrong["indicated"], wrong["error"]) == ("9.891", "-0.009")
    sent = {"issued_at": "2025-07-15"}
    refused = recalled.client.post("/v1/certificates/C-1/issue?revision=1", json=sent)
    assert refused.get_json()["type"] == "/problems/doubtful-ground"
    details = {one["code"]: one["detail"] for one in refused.get_json()["errors"]}
    assert details.keys() == {"no_value", "wrong_sum"}  # nothing is recorded of REF
    assert "point 2" in details["wrong_sum"]


def test_a_customer_reads_no_record_of_what_was_taken(recalled, keys):
    draft(recalled)
    sent = answered({"issued_at": "2025-07-15"})
    recalled.client.post("/v1/certificates/C-1/issue?revision=1", json=sent)
    headers = keys.headers("read", customer="Harbour Cranes")
    answer = recalled.client.get("/v1/certificates/C-1", headers=headers).get_json()
    assert answer["revision"] == 1
    assert "fault_corrections" not in answer


def test_a_draft_recalls_nobody_and_leaves_the_lists_as_they_were(recalled, recheck):
    draft(recalled)
    request = {"fault": recalled.recall["faults"][0], "preview": True}
    again = recalled.client.post("/v1/recalls", json=request).get_json()
    assert [one["certificate"] for one in again["affected"]] == ["C-1", "C-2", "C-3"]
    assert again["traced_not_recalled"] == []
    assert [(one["certificate"], one["revision"]) for one in again["cleared"]] == [("C-1", 1)]
    recheck()
    assert recalled.case().get_json()["stale"] is False


@pytest.fixture
def reissued(recalled):
    """C-1 to C-3 corrected and issued anew."""
    recalled.dispose("reissue", list="affected")
    assert len(drafts(recalled).get_json()["items"]) == 3
    for number in ("C-1", "C-2", "C-3"):
        address = f"/v1/certificates/{number}/issue?revision=1"
        sent = answered({"issued_at": "2025-07-15T08:00:00Z"})
        issued = recalled.client.post(address, json=sent)
        assert issued.status_code == 200, issued.text
    return recalled


def again(recalled, **more):
    fault = recalled.recall["faults"][0] | more
    sent = {"fault": {name: value for name, value in fault.items() if value is not None}}
    return recalled.client.post("/v1/recalls", json=sent | {"preview": True}).get_json()


def test_the_same_fault_reported_again_finds_nothing_left_to_correct(reissued):
    found = again(reissued)
    assert found["affected"] == []
    cleared = [one for one in found["cleared"] if one["reason"] == "corrected"]
    assert [(one["certificate"], one["revision"]) for one in cleared] == [
        ("C-1", 1),
        ("C-2", 1),
        ("C-3", 1),
    ]
    assert "taken from its errors" in cleared[0]["detail"]
    assert len(found["traced_not_recalled"]) == 3  # the revisions before


def test_another_estimate_of_the_fault_leaves_the_difference(reissued):
    # 0.0008 - 0.0005 = 0.0003 of 10 kN: -0.009 - 0.003 = -0.012, as 0.004 + 0.008 says at once.
    first, *_ = again(reissued, delta_rel="0.0008")["affected"]
    assert (first["certificate"], first["revision"]) == ("C-1", 1)
    (point,) = first["points"]
    assert (point["delta_rel"], point["shift"]) == ("0.0003", "-0.003")
    assert point["corrected_error"] == "-0.012"


def test_a_correction_of_a_correction_keeps_both(reissued):
    sent = {"fault": reissued.recall["faults"][0] | {"delta_rel": "0.0008"}, "previous": 1}
    assert reissued.client.post("/v1/recalls", json=sent).status_code == 201
    address = "/v1/recalls/2/revisions/C-1"
    made = reissued.client.post(address, json={"by": "Robin Manager"}).get_json()
    assert made["revision"] == 2
    taken = [one["points"][0]["delta_rel"] for one in made["fault_corrections"]]
    assert taken == ["0.0005", "0.0003"]
    issued = answered({"issued_at": "2025-08-15T08:00:00Z"})
    reissued.client.post("/v1/certificates/C-1/issue?revision=2", json=issued)
    # 0.0005 + 0.0003 were taken of 0.0008, and 0.0005 of that of the two others.
    found = again(reissued, delta_rel="0.0008")
    assert [one["certificate"] for one in found["affected"]] == ["C-2", "C-3"]


SHORTER = {"last_good_at": "2025-02-15T00:00:00Z"}


def looked_at_again(reissued, previous=1, **more):
    fault = reissued.recall["faults"][0] | more
    sent = {"fault": {n: value for n, value in fault.items() if value is not None}}
    made = reissued.client.post("/v1/recalls", json=sent | {"previous": previous})
    assert made.status_code == 201, made.text
    return json.loads(made.text)


def revised(reissued, recall, number, revision):
    address = f"/v1/recalls/{recall}/revisions/{number}"
    made = reissued.client.post(address, json={"by": "Robin Manager"})
    assert made.status_code == 201, made.text
    issue = answered({"issued_at": "2025-08-15T08:00:00Z"})
    at = f"/v1/certificates/{number}/issue?revision={revision}"
    assert reissued.client.post(at, json=issue).status_code == 200
    return json.loads(made.text)


@pytest.mark.parametrize("more", [SHORTER, {"delta_rel": "0", "U_delta_rel": None}])
def test_a_second_look_gives_back_what_it_no_longer_finds(reissued, database, recheck, more):
    # C-1 of 1 February lies before the window now, or the fault is none: 0 - 0.0005 of 10 kN, so
    # that -0.009 + 0.005 = -0.004 as it was stated first.
    second = looked_at_again(reissued, **more)
    first = second["affected"][0]
    assert (first["certificate"], first["revision"]) == ("C-1", 1)
    (point,) = first["points"]
    assert (point["delta_rel"], point["corrected_error"]) == ("-0.0005", "-0.004")
    assert first["reason_paths"] == [["REF", "C-1"]]
    assert len(second["affected"]) == (1 if more is SHORTER else 3)
    # Its revision says again what was measured, and a fresh look finds nothing left.
    made = revised(reissued, 2, "C-1", 2)
    assert made["results"][0]["error"] == "-0.004"
    recheck()
    third = looked_at_again(reissued, previous=2, **more)
    assert ("C-1", 2) not in {(e["certificate"], e["revision"]) for e in third["affected"]}
    assert reissued.client.get("/v1/recalls/3").get_json()["stale"] is False
    with database.read() as session:
        assert verify(session).findings == []
    # Who finds the whole fault again finds it whole: 0.0005 - 0.0005 + 0.0005.
    whole = {one["certificate"]: one for one in again(reissued)["affected"]}
    assert whole["C-1"]["points"][0]["delta_rel"] == "0.0005"


def test_a_fault_that_is_no_second_look_gives_nothing_back(reissued):
    found = again(reissued, **SHORTER)
    assert found["affected"] == []


def test_what_was_given_back_goes_down_the_chain_and_says_so(recall_of):
    # W-1 and C-1, which rests on it, were both corrected by 0.0005; C-2 took the value of W-1 as
    # it was corrected, which was wrong if the fault began later.
    made = recall_of(
        lab(
            cal("W-1", "WS", "02-01", [ref("REF")], [row(error="0.001")], customer="Pier"),
            cal("C-1", "I-1", "03-01", [ref("WS")], [row(error="-0.001")], customer="Pier"),
            kinds={"I-2": "customer_instrument"},
        )
    )
    for number in ("W-1", "C-1"):
        revised(made, 1, number, 1)
    later = answered(cal("C-2", "I-2", "2025-09-01T10:00:00Z", [ref("WS")], customer="Pier"))
    assert made.client.post("/v1/calibrations", json=later).status_code == 201
    second = looked_at_again(made, **SHORTER)
    found = {one["certificate"]: one for one in second["affected"]}
    assert found.keys() == {"W-1", "C-1", "C-2"}
    assert {one["points"][0]["delta_rel"] for one in found.values()} == {"-0.0005"}
    assert {one["revision"] for one in found.values()} == {0, 1}
    assert found["C-2"]["reason_paths"] == [["REF", "W-1", "WS", "C-2"]]
    assert "it is given back" in found["C-2"]["detail"]
    last = cal("C-3", "I-2", "2025-10-01T10:00:00Z", [ref("WS")], customer="Pier")
    refused = made.client.post("/v1/calibrations", json=last).get_json()
    assert "recall R-00002 would list it as affected" in {e["detail"] for e in refused["errors"]}
    # -0.001 kN at 10 kN less -0.005.
    assert found["C-1"]["points"][0]["corrected_error"] == "-0.001"


def test_a_revision_that_a_second_look_would_give_back_to_is_not_issued_unseen(recalled):
    draft(recalled)
    looked_at_again(recalled, **SHORTER)
    address = "/v1/certificates/C-1/issue?revision=1"
    refused = recalled.client.post(address, json={"issued_at": "2025-07-15T08:00:00Z"})
    assert refused.status_code == 409
    said = {one["code"]: one["detail"] for one in refused.get_json()["errors"]}
    assert said["in_doubt"] == "recall R-00002 would list it as affected"


def test_a_fault_that_was_another_items_gives_back_and_stops_what_is_issued_later(recalled):
    item = {"id": "REF-2", "kind": "reference_standard"}
    assert recalled.client.post("/v1/items", json=item).status_code == 201
    draft(recalled)
    assert looked_at_again(recalled, item="REF-2")["affected"] == []  # C-1 is a draft
    address = "/v1/certificates/C-1/issue?revision=1"
    sent = {"issued_at": "2025-07-15T08:00:00Z"}
    refused = recalled.client.post(address, json=sent).get_json()
    assert "recall R-00002 would list it as affected" in {e["detail"] for e in refused["errors"]}
    assert recalled.client.post(address, json=answered(sent)).status_code == 200
    (first,) = looked_at_again(recalled, previous=2, item="REF-2")["affected"]
    assert first["points"][0]["corrected_error"] == "-0.004"
    assert first["reason_paths"] == [["REF", "C-1"]]


def with_another_standard(made):
    item = {"id": "REF-2", "kind": "reference_standard"}
    assert made.client.post("/v1/items", json=item).status_code == 201


def test_what_was_given_back_is_told_of_what_it_was_taken_for(reissued):
    # The fault was another item's: C-1 rev. 2 says again -0.004, as measured, and of REF it keeps
    # 0.0005 - 0.0005. Whoever finds a fault of REF after all finds the whole of it.
    with_another_standard(reissued)
    looked_at_again(reissued, item="REF-2")
    made = revised(reissued, 2, "C-1", 2)
    assert made["results"][0]["error"] == "-0.004"
    assert made["amendment"].count("A correction made before was found to be wrong") == 1
    booked = made["fault_corrections"][-1]
    assert [one["item"] for one in booked["faults"]] == ["REF-2", "REF"]
    assert [one[0]["delta_rel"] for one in booked["by_fault"]] == ["0", "-0.0005"]
    for more in ({}, {"delta_rel": "0.0003"}):
        (found,) = [one for one in again(reissued, **more)["affected"] if one["revision"] == 2]
        assert found["points"][0]["delta_rel"] == more.get("delta_rel", "0.0005")


def test_a_look_that_names_an_early_one_knows_what_the_later_ones_gave_back(reissued):
    with_another_standard(reissued)
    looked_at_again(reissued, item="REF-2")
    revised(reissued, 2, "C-1", 2)
    third = looked_at_again(reissued, previous=1, item="REF-2")
    assert ("C-1", 2) not in {(e["certificate"], e["revision"]) for e in third["affected"]}


def test_a_draft_of_an_earlier_look_is_voided_and_the_later_look_makes_its_own(recalled):
    made = draft(recalled, query="?revision=0")
    assert made.status_code == 201
    smaller = looked_at_again(recalled, delta_rel="0.0003")
    assert ("C-1", 0) in {(e["certificate"], e["revision"]) for e in smaller["affected"]}
    at = "/v1/recalls/2/revisions/C-1"
    by = {"by": "Robin Manager"}
    assert recalled.client.post(at, json=by).status_code == 409
    gone = "/v1/certificates/C-1/void?revision=1"
    assert recalled.client.post(gone, json={"reason": "of another size"}).status_code == 200
    made = recalled.client.post(at, json=by)
    assert made.status_code == 201, made.text
    # -0.004 kN less 0.0003 of 10 kN
    assert made.get_json()["revision"] == 2
    assert made.get_json()["results"][0]["error"] == "-0.007"


def test_a_fault_at_another_time_is_not_the_one_that_was_corrected(reissued):
    late = {"last_good_at": "2025-06-30T12:00:00Z", "isolated_at": "2025-12-31T00:00:00Z"}
    found = again(reissued, **late)
    issued = [one for one in found["cleared"] if one["revision"] == 1]
    assert len(issued) == 3
    assert {one["reason"] for one in issued} == {"window"}


def test_a_case_whose_certificates_were_reissued_is_closed_after_a_second_look(reissued, recheck):
    recheck()
    reissued.excepted()
    reissued.dispose(list="indeterminate")
    for state in ("assessed", "notified"):
        assert reissued.step(state).status_code == 200
    assert reissued.step("closed").status_code == 409
    second = reissued.report(reissued.recall["faults"][0], previous=1)
    assert second["affected"] == []
    assert reissued.step("closed").status_code == 200


def test_a_notice_takes_no_corrected_revision_for_a_later_calibration(recall_of, recheck):
    # I-1 was calibrated twice with REF; the revision that corrects the second is in no list of the
    # recall, while revision 0, the same calibration, stands in the notice as affected.
    calibrations = (cal(f"C-{n}", "I-1", f"0{n}-01", [ref("REF")]) for n in (2, 3))
    made = recall_of(lab(*(one | {"customer": "Harbour Cranes"} for one in calibrations)))
    named = {"name": "Marrowvale Force Laboratory", "contact": "quality@example.org"}
    etag = made.client.get("/v1/laboratory").headers["ETag"]
    made.client.patch("/v1/laboratory", json=named, headers={"If-Match": etag})
    assert draft(made, "C-3").status_code == 201
    issue = answered({"issued_at": "2025-08-01"})
    issued = made.client.post("/v1/certificates/C-3/issue?revision=1", json=issue)
    assert issued.status_code == 200, issued.text
    recheck()
    sent = made.client.post(f"{made.at}/notices", json={"by": "Robin Manager"})
    assert sent.status_code == 201
    told = made.client.get(f"{made.at}/notices/1").get_json()["content"]["certificates"]
    assert [(one["certificate"], one["revision"], one["class"]) for one in told] == [
        ("C-2", 0, "affected"),
        ("C-3", 0, "affected"),
    ]
    assert [one["may_read_wrong_now"]["answer"] for one in told] == ["yes", "yes"]
    assert "calibrated again" not in told[0]["may_read_wrong_now"]["words"]
