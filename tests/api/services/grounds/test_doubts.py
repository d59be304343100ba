"""Nothing new rests on what a stored recall doubts: the ways by which it could get there."""

from __future__ import annotations

import pytest
from oracle_cases import answered, cal, part, ref, row

from tests.api.services.grounds.conftest import SPAN, candidate

IN_DOUBT, MAYBE = ("in_doubt", "stop"), ("may_be_in_doubt", "mind")


def test_the_fault_does_not_go_on_spreading_by_what_it_reached(bench):
    # WS was calibrated on 1 February against REF, which was faulty from 15 January to 1 March.
    bench.imported()
    assert bench.codes(candidate()) == []
    bench.fault()
    (one,) = bench.found(candidate())
    assert (one["code"], one["weight"], one["item"]) == ("in_doubt", "stop", "REF")
    assert "R-00001" in one["detail"]
    refused = bench.client.post("/v1/calibrations", json=candidate())
    assert (refused.status_code, refused.json["type"]) == (409, "/problems/doubtful-ground")
    assert bench.client.get("/v1/certificates/N-1").status_code == 404


def test_a_recalibration_through_an_unaffected_chain_ends_it(bench):
    bench.imported(cal("W-2", "WS", "04-01", [ref("REF")], SPAN))  # after the window
    bench.fault()
    assert bench.codes(candidate()) == []
    assert bench.codes(candidate(at="03-20")) == [IN_DOUBT]


@pytest.mark.parametrize(
    ("at", "found"), [("2025-03-01T00:00:00Z", True), ("2025-03-01T00:00:01Z", False)]
)
def test_the_window_is_that_of_the_recall(bench, at, found):
    bench.imported()
    bench.fault()
    assert (IN_DOUBT in bench.codes(candidate(ref("REF"), at=at))) is found


def test_a_closed_case_still_speaks_against_it_and_the_latest_look_alone(bench):
    bench.imported()
    first = bench.fault()
    assert bench.codes(candidate()) == [IN_DOUBT]
    # A second look: the fault began after WS was calibrated.
    bench.fault(last_good_at="2025-02-10T00:00:00Z", previous=first["id"])
    assert bench.codes(candidate()) == []


def test_through_a_part_through_an_unknown_effect_and_through_another_standard(bench):
    bench.imported(
        cal("R-1", "RIG-2", "02-10", [ref("WS")], SPAN),
        kinds={"RIG": "force_machine", "RIG-2": "force_machine"},
        composition=[part("RIG", "WS")],
    )
    window = {"last_good_at": "2025-01-15T00:00:00Z", "isolated_at": "2025-03-01T00:00:00Z"}
    bench.post("/v1/recalls", {"fault": {"item": "REF", "kind": "unknown"} | window})
    assert bench.codes(candidate(ref("RIG"))) == [IN_DOUBT]
    assert bench.codes(candidate(ref("RIG-2"))) == [IN_DOUBT]


def test_who_names_nothing_in_the_role_may_be_in_doubt(bench):
    bench.imported(cal("C-1", "OLD", "02-10", [ref("REF")]))
    bench.fault()
    monitor = {"item": "CELL-2", "role": "environment"}
    bench.post("/v1/items", {"id": "CELL-2", "kind": "environment_monitor"})
    assert bench.codes(candidate(monitor, at="02-15")) == [MAYBE]
    assert bench.codes(candidate(monitor, at="03-15")) == []


def readout(role, channel):
    return {"item": "RO", "role": role, "channel": channel}


@pytest.mark.parametrize(
    ("served", "kept"), [("readout_reference", [MAYBE]), ("readout_dut", []), (None, [])]
)
def test_which_roles_a_channel_ever_had_is_asked_of_all_records(bench, served, kept):
    """W-2 of the window names channel 2 as readout_dut, and nothing as readout_reference.

    Channel 1 is at fault. If it only ever served as readout_reference (in C-1, on which the
    candidate does not rest), W-2 names nothing in its role; if as readout_dut, or never, so that
    the roles of its kind are asked for, it does.
    """
    bench.imported(
        cal("W-2", "WS", "02-10", [ref("REF"), readout("readout_dut", "CH2")], SPAN),
        cal("C-1", "OLD", "04-01", [ref("WS"), *([readout(served, "CH1")] if served else [])]),
        kinds={"RO": "readout"},
    )
    bench.fault(item="RO", channel="CH1", kind="readout_gain", gain="1.0002", delta_rel=None)
    assert bench.codes(candidate()) == kept
    bench.post("/v1/calibrations", answered(candidate()))
    faults = bench.get("/v1/recalls/1")["faults"]
    fresh = bench.post("/v1/recalls", {"faults": faults, "preview": True}, 200)
    assert any(one["certificate"] == "N-1" for one in fresh["cannot_be_excluded"]) is bool(kept)


def test_a_role_that_came_with_a_write_since_the_last_comparison_counts(bench):
    bench.imported(
        cal("W-2", "WS", "02-10", [ref("REF"), readout("readout_dut", "CH2")], SPAN),
        kinds={"RO": "readout"},
    )
    bench.fault(item="RO", channel="CH1", kind="readout_gain", gain="1.0002", delta_rel=None)
    assert bench.codes(candidate()) == []
    late = cal("C-1", "OLD", "04-01", [ref("WS"), readout("readout_reference", "CH1")])
    bench.post("/v1/items", {"id": "OLD", "kind": "customer_instrument"})
    bench.post("/v1/calibrations", answered(late))
    assert bench.codes(candidate()) == [MAYBE]


def test_what_came_in_since_and_was_not_compared_yet_is_followed(bench):
    """WS-9 is calibrated against WS after the recall; nobody compared it before the next one."""
    bench.imported()
    bench.fault()
    late = answered(cal("W-9", "WS-9", "04-01", [ref("WS")], SPAN))
    bench.post("/v1/items", {"id": "WS-9", "kind": "working_standard"})
    bench.post("/v1/calibrations", late)
    assert bench.codes(candidate(ref("WS-9"))) == [IN_DOUBT]


def test_a_window_that_a_withdrawn_check_widens_is_followed_at_once(bench):
    check = {
        "id": "K",
        "item": "REF",
        "at": "2025-02-10T00:00:00Z",
        "result": "pass",
        "acceptance_limit_rel": "0.0001",
        "U_rel": "0.0001",
        "independent": True,
        "covers": "full range",
    }
    bench.imported(cal("W-9", "WS-9", "02-05", [ref("WS")], SPAN), checks=[check])
    bench.fault()  # from the check of 10 February on: WS is clear
    assert bench.codes(candidate(ref("WS-9"))) == []
    body = {"withdrawn": True, "by": "Robin Manager", "reason": "not carried out"}
    bench.post("/v1/checks/K/corrections", body)
    assert bench.codes(candidate(ref("WS-9"))) == [IN_DOUBT]


@pytest.mark.parametrize("kind", ["relative", "offset"])
def test_a_check_of_single_forces_needs_the_range_of_all_uses(bench, kind):
    # The check covers 50 kN, which lies in the range of all uses of REF (10 kN to 100 kN) and not
    # in that of the candidate and W-1, so that a whole recall is asked. It clears W-1.
    check = {
        "id": "K",
        "item": "REF",
        "at": "2025-02-10T00:00:00Z",
        "result": "pass",
        "acceptance_limit_rel": "0.00001",
        "U_rel": "0.00001",
        "independent": True,
        "covers": ["50 kN"],
    }
    bench.imported(
        cal("W-2", "WS-2", "02-02", [ref("REF")], [row()]),
        cal("C-9", "OLD", "02-20", [ref("REF", points=[1, 2])], SPAN),
        checks=[check],
    )
    fault = {"kind": "true_force_offset", "delta_force": "10", "unit": "N"}
    window = {"last_good_at": "2025-01-15T00:00:00Z", "isolated_at": "2025-03-01T00:00:00Z"}
    relative = {"kind": "true_force_relative_error", "delta_rel": "0.0005"}
    sent = {"item": "REF"} | window | (relative if kind == "relative" else fault)
    stored = bench.post("/v1/recalls", {"fault": sent})
    listed = {one["certificate"] for one in stored["affected"]}
    assert "C-9" in listed
    assert "W-2" not in listed
    narrow = candidate(ref("WS-2"), results=[row(U="0.004")])
    assert bench.codes(narrow) == []
    assert IN_DOUBT in bench.codes(candidate(ref("REF"), at="02-20"))


def test_a_draft_is_told_what_it_is_refused_for_when_it_is_issued(bench):
    bench.imported()
    bench.fault()
    draft = candidate(status="draft")
    assert bench.codes(draft) == [IN_DOUBT]
    bench.post("/v1/calibrations", draft)
    kept = bench.get("/v1/certificates/N-1/grounds")
    assert kept["grounds"] is None
    assert [(one["code"], one["weight"]) for one in kept["today"]] == [IN_DOUBT]
    body = {"issued_at": "2025-06-02T00:00:00Z"}
    refused = bench.post("/v1/certificates/N-1/issue", body, 409)
    assert [(one["code"], one["pointer"]) for one in refused["errors"]] == [("in_doubt", "")]
    assert bench.get("/v1/certificates/N-1")["status"] == "draft"


def test_a_draft_that_cannot_be_excluded_says_that_and_no_more(bench):
    bench.imported(cal("C-1", "OLD", "02-10", [ref("REF")]))
    bench.fault()
    monitor = {"item": "CELL-2", "role": "environment"}
    bench.post("/v1/items", {"id": "CELL-2", "kind": "environment_monitor"})
    assert bench.codes(candidate(monitor, at="02-15", status="draft")) == [MAYBE]
    assert bench.codes(candidate(monitor, at="03-15", status="draft")) == []


def test_a_corrected_revision_is_issued_for_what_was_taken_from_it(bench):
    # 0.0005 of 10 kN was taken from the error of N-1; what is left of the fault is nothing.
    bench.imported(candidate())
    bench.fault()
    address = "/v1/recalls/1/revisions/N-1"
    draft = bench.post(address, {"by": "Robin Manager"})
    assert draft["results"][0]["error"] == "-0.005"
    assert bench.get("/v1/certificates/N-1/grounds?revision=1")["today"] == []
    # Against another fault of REF at that time nothing was taken from it.
    bench.fault(kind="unknown", delta_rel=None)
    body = {"issued_at": "2025-06-09T00:00:00Z"}
    refused = bench.post("/v1/certificates/N-1/issue?revision=1", body, 409)
    (issue,) = refused["errors"]
    assert (issue["code"], "R-00002" in issue["detail"]) == ("in_doubt", True)


def test_nothing_speaks_against_the_corrected_revision_of_a_recall(bench):
    bench.imported(candidate())
    bench.fault()
    bench.post("/v1/recalls/1/revisions/N-1", {"by": "Robin Manager"})
    body = {"issued_at": "2025-06-09T00:00:00Z"}
    issued = bench.post("/v1/certificates/N-1/issue?revision=1", body, 200)
    assert issued["status"] == "issued"
    assert bench.get("/v1/certificates/N-1/grounds")["grounds"] == []
