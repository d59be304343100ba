"""A failure that no good evidence parts from a use, before it or after it.

ISO/IEC 17025:2017, 6.4.9 (from memory): equipment shown to be defective is taken out of service
until it has been verified to perform correctly. Instants are chosen by hand around 1 June, 10:00.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, part, ref, row

from tests.api.services.grounds.conftest import SPAN, candidate

FAILED = ("failed_check", "stop")


def check(day: str, result: str, item: str = "WS", **more):
    at = f"2025-{day}T08:00:00Z" if len(day) == 5 else day
    return {"id": f"{item}-{day}-{result}", "item": item, "at": at, "result": result} | more


@pytest.mark.parametrize(
    ("checks", "found"),
    [
        ([("05-01", "fail")], True),
        ([("05-01", "pass")], False),
        ([("05-01", "fail"), ("05-02", "pass")], False),
        ([("05-01", "pass"), ("05-02", "fail")], True),
        # Of two at one instant the failure comes first.
        ([("05-02", "pass"), ("05-02", "fail")], False),
        # After the use.
        ([("07-01", "fail")], True),
        ([("06-15", "pass"), ("07-01", "fail")], False),
        ([("07-01", "fail"), ("07-02", "pass")], True),
        ([("07-01", "pass"), ("07-01", "fail")], True),
        # Good evidence is between the two, not on the other side of the use.
        ([("05-01", "fail"), ("06-15", "pass")], True),
        ([("05-15", "pass"), ("07-01", "fail")], True),
        # On the day of the use, by a bare date: from its beginning.
        ([("2025-06-01", "fail")], True),
        ([("05-01", "fail"), ("2025-06-01", "pass")], False),
    ],
)
def test_checks_around_a_use(bench, checks, found):
    bench.imported(checks=[check(*one) for one in checks])
    assert bench.codes(candidate()) == ([FAILED] if found else [])


def test_a_worn_pin_counts_while_it_is_held_and_an_adapter_counts_too(bench):
    worn = {"kind": "inspection", "wear_pct": "14", "limit_pct": "10"}
    bench.imported(
        kinds={"ADP": "adapter", "PIN": "adapter_part"},
        composition=[part("ADP", "PIN") | {"until": "2025-06-10T00:00:00Z"}],
        checks=[check("05-01", "fail", "PIN", **worn)],
    )
    adapter = {"item": "ADP", "role": "adapter"}
    (one,) = bench.found(candidate(ref("WS"), adapter))
    assert (one["code"], one["item"]) == ("failed_check", "PIN")
    assert "inspection PIN-05-01-fail" in one["detail"]
    assert bench.codes(candidate(ref("WS"), adapter, at="06-11")) == []


@pytest.mark.parametrize(
    ("left", "found"),
    [
        ([], True),
        ([row(point=2, stage="as_left")], False),  # adjusted, and good since
        ([row(point=2, stage="as_left", error="0.02")], True),  # tolerance 0.01: still fails
    ],
)
def test_as_found_results_that_fail_are_failures(bench, left, found):
    # |0.02| is more than 0.01 - U = 0.008.
    seen = [row(stage="as_found", error="0.02"), *left]
    later = cal("W-2", "WS", "05-01", [ref("REF")], seen, assigns_value=False)
    bench.imported(later)
    assert bench.codes(candidate()) == ([FAILED] if found else [])


def test_as_found_results_after_the_use_speak_against_it_whatever_was_left(bench):
    seen = [row(stage="as_found", error="0.02"), *(one | {"stage": "as_left"} for one in SPAN)]
    bench.imported(cal("W-2", "WS", "07-01", [ref("REF")], seen))
    assert bench.codes(candidate()) == [FAILED]
    assert bench.codes(candidate(at="07-02")) == []


@pytest.mark.parametrize(
    ("at", "seen", "found"),
    [
        ("05-01", [row(error="0.02")], True),
        ("07-01", [row(error="0.02")], True),
        ("05-01", [row(error="0.008")], False),
        # What was found stands beside it: the single result is one of another point.
        ("05-01", [row(stage="as_found"), row(point=2, error="0.02")], False),
    ],
)
def test_a_single_result_that_fails_was_found_and_left_so(bench, at, seen, found):
    # |0.02| is more than 0.01 - U = 0.008: no adjustment came between finding and leaving.
    bench.imported(cal("W-2", "WS", at, [ref("REF")], seen, assigns_value=False))
    assert bench.codes(candidate()) == ([FAILED] if found else [])


@pytest.mark.parametrize(("error", "found"), [("0.01", False), ("0.011", True), ("0.013", True)])
def test_a_conditional_fail_is_a_failure_for_grounds_and_alerts_alike(bench, error, found):
    # four_state_U: up to T = 0.01 a conditional pass, up to T + U = 0.012 a conditional fail.
    seen = [row(stage="as_found", error=error, rule="four_state_U")]
    bench.imported(cal("W-2", "WS", "05-01", [ref("REF")], seen, assigns_value=False))
    assert bench.codes(candidate()) == ([FAILED] if found else [])
    alerts = bench.get("/v1/alerts?item=WS&kind=as_found")["items"]
    assert len(alerts) == found


def test_as_found_results_that_pass_or_are_not_judged_are_none(bench):
    seen = [row(stage="as_found", error="0.008"), row(stage="as_found", error="9", rule=None)]
    del seen[1]["rule"]
    bench.imported(cal("W-2", "WS", "05-01", [ref("REF")], seen, assigns_value=False))
    assert bench.codes(candidate()) == []


def test_a_calibration_after_the_failure_is_good_evidence(bench):
    bench.imported(cal("W-2", "WS", "05-02", [ref("REF")], SPAN), checks=[check("05-01", "fail")])
    assert bench.codes(candidate()) == []


def test_a_check_that_was_withdrawn_says_nothing(bench):
    bench.imported(checks=[check("05-01", "fail")])
    body = {"withdrawn": True, "by": "Robin Manager", "reason": "of another item"}
    bench.post("/v1/checks/WS-05-01-fail/corrections", body)
    assert bench.codes(candidate()) == []


def test_an_import_does_not_hold_against_a_certificate_what_came_after_its_issue(bench):
    bench.imported(candidate(issued_at="2025-06-20T00:00:00Z"), checks=[check("07-01", "fail")])
    kept = bench.get("/v1/certificates/N-1/grounds")
    assert kept["grounds"] == []
    assert [one["code"] for one in kept["today"]] == ["failed_check"]
