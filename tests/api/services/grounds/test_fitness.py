"""Isolation, pairing, set-up and load cycles: each fires, and is silent just inside."""

from __future__ import annotations

import pytest
from oracle_cases import cal, part, ref

from tests.api.services.grounds.conftest import SPAN, candidate

MIND = "mind"


@pytest.mark.parametrize(
    ("at", "found"), [("2025-03-01T00:00:00Z", False), ("2025-03-01T00:00:01Z", True)]
)
def test_what_a_recall_isolated_is_not_used_after_it(bench, at, found):
    bench.imported()
    bench.fault()
    codes = [code for code, _ in bench.codes(candidate(ref("REF"), at=at))]
    assert ("isolated" in codes) is found


@pytest.mark.parametrize(
    ("used", "issuer", "found"),
    [
        ("REF", "Institute", True),
        ("REF", None, True),  # the number is that of one issuer only
        ("RIG", "Institute", True),  # it holds REF
        ("RIG-2", "Institute", False),  # it held REF until the day before the use
    ],
)
def test_a_fault_that_names_a_certificate_isolates_its_item(bench, used, issuer, found):
    """The values of E-1 were wrong, and REF carries them on behind the window, too.

    Work is stopped until its resumption is authorised: ISO/IEC 17025:2017, 7.10 (from memory).
    """
    bench.imported(
        kinds={"RIG": "force_machine", "RIG-2": "force_machine"},
        composition=[
            part("RIG", "REF"),
            part("RIG-2", "REF") | {"until": "2025-03-30T00:00:00Z"},
        ],
    )
    named = {"certificate": "E-1"} | ({} if issuer is None else {"issuer": issuer})
    window = {"last_good_at": "2025-01-15T00:00:00Z", "isolated_at": "2025-03-01T00:00:00Z"}
    bench.post("/v1/recalls", {"fault": {"kind": "unknown"} | named | window})
    codes = [code for code, _ in bench.codes(candidate(ref(used), at="03-31"))]
    assert ("isolated" in codes) is found


def test_who_answers_for_a_use_covers_its_item_and_not_the_certificate(bench):
    bench.imported(checks=[{"id": "K", "item": "REF", "at": "2025-02-20", "result": "fail"}])
    bench.fault()
    answered = ref("REF", override={"by": "Robin Manager", "reason": "load check"})
    (failed, isolated) = bench.found(candidate(answered))
    assert "Robin Manager answers for this use: load check" in isolated["detail"]
    assert failed["code"] == "failed_check"
    bench.post("/v1/calibrations", candidate(answered))
    doubted = candidate(answered, at="02-20", number="N-2")
    refused = bench.post("/v1/calibrations", doubted, 409)
    assert [one["code"] for one in refused["errors"]] == ["in_doubt"]


@pytest.mark.parametrize(
    ("item", "channel", "found"),
    [
        ("BOX", "A", False),
        ("BOX", None, False),  # nobody says that it was another
        ("BOX", "B", True),
        ("BOX-2", "A", True),
    ],
)
def test_a_reference_is_read_on_the_channel_that_it_was_calibrated_with(
    bench, item, channel, found
):
    with_box = [ref("REF"), {"item": "BOX", "role": "readout_dut", "channel": "A"}]
    bench.imported(
        cal("B-1", "BOX", "01-05", [], []),
        cal("B-2", "BOX-2", "01-05", [], []),
        cal("W-2", "WS", "03-01", with_box, SPAN),
    )
    read = {"item": item, "role": "readout_reference"} | ({"channel": channel} if channel else {})
    assert bench.codes(candidate(ref("WS"), read)) == ([("pairing", MIND)] if found else [])
    assert bench.codes(candidate()) == []  # no readout is named


def requirement(**applies_to):
    return {"id": "Q", "applies_to": applies_to, "source": "manual", "pin": {"diameter": "45 mm"}}


def test_a_set_up_that_something_is_required_of_is_checked(bench):
    bench.imported()
    bench.post("/v1/requirements", requirement(item="WS"))
    assert bench.codes(candidate()) == []
    bench.post("/v1/requirements", requirement(item="CELL") | {"id": "Q-2"})
    (one,) = bench.found(candidate())
    assert (one["code"], one["weight"], one["item"]) == ("setup", MIND, "CELL")
    assert "no set-up check is linked" in one["detail"]
    made = bench.post(
        "/v1/setup-checks",
        {"instrument": "CELL", "at": "2025-06-01T09:00:00Z", "references": [{"item": "WS"}]},
    )
    # It differs in nothing but could not check everything: linked, it says nothing more.
    assert made["outcome"] == "not_checked"
    assert bench.codes(candidate(set_up_check=made["id"])) == []


def test_a_requirement_recorded_after_the_issue_says_nothing_of_it(bench):
    bench.imported(candidate(), candidate(number="N-2", status="draft"))
    bench.post("/v1/requirements", requirement(item="CELL"))
    assert bench.get("/v1/certificates/N-1/grounds")["today"] == []
    # A draft is not issued yet, and its set-up can still be checked.
    (one,) = bench.get("/v1/certificates/N-2/grounds")["today"]
    assert one["code"] == "setup"


def test_a_set_up_check_with_findings_is_said_and_one_that_is_not_recorded_refused(bench):
    bench.imported(kinds={"BARE": "readout"})
    bench.post("/v1/requirements", requirement(item="CELL"))
    body = {"instrument": "CELL", "at": "2025-06-01T09:00:00Z", "references": [{"item": "WS"}]}
    body["readouts"] = ["BARE"]  # never calibrated
    made = bench.post("/v1/setup-checks", body)
    assert made["outcome"] == "differs"
    (one,) = bench.found(candidate(set_up_check=made["id"]))
    # Which it is, and what to do about that: a check is linked already.
    said = "BARE has no issued calibration in force at 2025-06-01T09:00:00Z."
    assert f"set-up check {made['id']} has findings: {said}" in one["detail"]
    assert one["remedy"].startswith("calibrate it first, or record its certificate; check the cha")
    assert "competent, authorised person" in one["remedy"]
    refused = bench.post("/v1/calibrations", candidate(set_up_check=99), 422)
    assert refused["errors"][0]["pointer"] == "/set_up_check"
    bench.post("/v1/calibrations", candidate(set_up_check=made["id"]))
    assert bench.get("/v1/certificates/N-1")["set_up_check"] == made["id"]


@pytest.mark.parametrize(("loads", "found"), [(10, False), (11, True), (0, False)])
def test_a_part_stays_within_its_design_life(bench, loads, found):
    # 90 before, 100 in all: 90 + 10 is the design life, 90 + 11 more.
    bench.imported()
    pin = {"id": "PIN", "kind": "adapter_part", "design_life_cycles": 100}
    bench.post("/v1/items", pin | {"cycles_at_last_inspection": 90})
    uses = [ref("WS"), {"item": "PIN", "role": "adapter"}]
    record = candidate(*uses, load_applications=loads)
    assert bench.codes(record) == ([("cycles", MIND)] if found else [])
