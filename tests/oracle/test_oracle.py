"""Does the oracle give the worked answers, and the sums done by hand for each kind of fault?

Expected figures come from the scenario file or from the arithmetic in the comments, never from a
run of the oracle. Not tested here: the time and structure rules (test_oracle_rules.py).
"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from oracle_cases import OPEN, cal, find, force_fault, lab, numbers, only, percent, ref, row
from recall_oracle import recall

SCENARIOS = Path(__file__).parents[2] / "fixtures" / "scenarios"
WORKED = json.loads((SCENARIOS / "recall.json").read_text("utf-8"))["scenarios"]
SECOND = json.loads((SCENARIOS / "recall_10.json").read_text("utf-8"))["scenarios"]
EFFECT = ("delta_rel", "shift", "corrected_error")


def assert_same(expected: Any, got: Any, name: str) -> None:
    """Equal, or as decimal numbers within the file's 1e-6."""
    if expected != got:
        assert abs(Decimal(expected) - Decimal(got)) <= Decimal("0.000001"), name


@pytest.mark.parametrize("scenario", WORKED, ids=[s["id"] for s in WORKED])
def test_the_worked_laboratories_come_out_as_written(scenario: Any) -> None:
    answer = recall(scenario, scenario["fault"])
    assert answer["window"] == scenario["window"]
    expected = scenario["expected"]["affected"]
    assert {e["certificate"] for e in expected} == {
        e["certificate"]
        for name in ("affected", "exposed_zero_effect", "indeterminate")
        for e in answer[name]
    }
    for wanted in expected:
        entry = find(answer, wanted["certificate"])
        # Where the file leaves the points out (null), it leaves out what is drawn from them.
        left_out = {"points", "note"} | (set() if wanted["points"] else {"overall"})
        for name in wanted.keys() - left_out:
            assert entry[name] == wanted[name], name
        assert entry in answer[wanted["class"]]
        for point, got in zip(wanted["points"] or [], entry["points"], strict=False):
            assert point.keys() == got.keys()
            for name, value in point.items():
                assert_same(value, got[name], f"{wanted['certificate']} {name}")


@pytest.mark.parametrize("scenario", SECOND, ids=[s["id"] for s in SECOND])
def test_the_laboratories_of_the_second_edition_come_out_as_written(scenario: Any) -> None:
    answer = recall(scenario, scenario.get("fault") or scenario["faults"])
    expected = dict(scenario["expected"])
    windows = expected.pop("windows", None) or [expected.pop("window")]
    found = answer["window"] if "faults" in scenario else [answer["window"]]
    for wanted, got in zip(windows, found, strict=True):
        assert wanted == {name: got[name] for name in wanted}
    assert expected.keys() == answer.keys() - {"window"}
    for name, entries in expected.items():
        for wanted, entry in zip(entries, answer[name], strict=True):
            assert wanted == {key: entry[key] for key in wanted if key != "points"} | (
                {"points": wanted["points"]} if "points" in wanted else {}
            )
            for point, got in zip(wanted.get("points", []), entry.get("points", []), strict=True):
                assert {key: point[key] for key in point if key != "why"} == got


@pytest.mark.parametrize("scenario", WORKED, ids=[s["id"] for s in WORKED])
def test_the_worked_laboratories_clear_what_is_not_affected(scenario: Any) -> None:
    answer = recall(scenario, scenario["fault"])
    listed = {e["certificate"] for name in answer if name != "window" for e in answer[name]}
    cleared = set(numbers(answer, "cleared"))
    for entry in scenario["expected"]["not_affected"]:
        assert entry["certificate"] not in listed - cleared


def test_a_constant_fault_shifts_by_delta_times_force_and_passes_on() -> None:
    laboratory = lab(
        cal("W-1", "WS", "02-01", [ref("REF")], [row("20", "0.002")]),
        cal("C-1", "CI", "03-01", [ref("WS", "0.5"), ref("GOOD", "0.5")], [row("10", "0.006")]),
    )
    answer = recall(laboratory, force_fault(delta="0.0005"))
    # W-1: 0.0005 x 20 = 0.01; 0.002 - 0.01 = -0.008, on the acceptance limit 0.01 - 0.002
    assert only(answer, "W-1", *EFFECT) == ("0.0005", "-0.01", "-0.008")
    assert only(answer, "W-1", "verdict_before", "verdict_after") == ("pass", "pass")
    # C-1: half of it, 0.00025 x 10 = 0.0025; 0.006 - 0.0025 = 0.0035
    assert only(answer, "C-1", *EFFECT) == ("0.00025", "-0.0025", "0.0035")
    assert find(answer, "C-1")["reason_paths"] == [["REF", "W-1", "WS", "C-1"]]
    assert [find(answer, n)["generation"] for n in ("W-1", "C-1")] == [1, 2]


def test_segments_take_their_upper_bound_in_and_leave_their_lower_one_out() -> None:
    rows = [row(force, point=n) for n, force in enumerate(("0", "10", "10.5", "20", "20.1"), 1)]
    segments = [
        {"above_kN": "0", "up_to_kN": "10", "delta_rel": "0"},
        {"above_kN": "10", "up_to_kN": "20", "delta_rel": "0.001"},
    ]
    fault = force_fault() | {"segments": segments}
    del fault["delta_rel"]
    laboratory = lab(
        cal("ALL", "A", "02-01", [ref("REF")], rows),
        cal("IN", "B", "02-01", [ref("REF")], rows[:4]),
        cal("LOW", "C", "02-01", [ref("REF")], rows[:2]),
        cal("BARE", "D", "02-01", [ref("REF")], [percent("0.01")]),
    )
    answer = recall(laboratory, fault)
    deltas = [point["delta_rel"] for point in find(answer, "ALL")["points"]]
    assert deltas == ["0", "0", "0.001", "0.001", None]
    assert find(answer, "ALL")["class"] == "indeterminate"
    assert [p["shift"] for p in find(answer, "IN")["points"]] == ["0", "0", "-0.0105", "-0.02"]
    assert find(answer, "LOW")["reason"] == "range"
    assert find(answer, "BARE")["class"] == "indeterminate"


def test_a_reading_that_indicates_high_means_less_force() -> None:
    fault = {"item": "REF", "kind": "indicates_high", "indication_rel": "0.0006"} | OPEN
    answer = recall(lab(cal("C-1", "CI", "02-01", [ref("REF")], [row("10", "0")])), fault)
    # 1/1.0006 - 1 = -0.0006/1.0006 = -0.000599640215870477..., 12 digits; times 10 for the shift
    assert only(answer, "C-1", *EFFECT) == (
        "-0.00059964021587",
        "0.0059964021587",
        "0.0059964021587",
    )


def test_a_wrong_factor_follows_the_record_else_the_window() -> None:
    fault = {"item": "REF", "kind": "wrong_correction_factor"}
    fault |= {"factor_applied": "0.8", "factor_right": "1"}
    fault |= {"entered_at": "2025-02-01T10:00:00Z", "fixed_at": "2025-03-01T10:00:00Z"}
    laboratory = lab(
        cal("ENTERED", "A", "02-01", [ref("REF")]),
        cal("FIXED", "B", "03-01", [ref("REF")]),
        cal("LATE", "C", "06-01", [ref("REF", factor_applied="1.25")]),
        cal("RIGHT", "D", "02-10", [ref("REF", factor_applied="1.0")]),
    )
    answer = recall(laboratory, fault)
    # 1/0.8 - 1 = 0.25 by the window; 1/1.25 - 1 = -0.2 by the record, long after the window
    assert only(answer, "ENTERED", *EFFECT) == ("0.25", "-2.5", "-2.5")
    assert only(answer, "LATE", *EFFECT) == ("-0.2", "2", "2")
    assert find(answer, "FIXED")["reason"] == "window"
    assert find(answer, "RIGHT")["reason"] == "record"
    assert answer["window"]["start_inclusive"] is True
    assert answer["window"]["end_inclusive"] is False


def test_an_adapter_acts_by_the_type_of_the_instrument_and_passes_that_on() -> None:
    adapter = {"item": "ADP", "role": "adapter"}
    laboratory = lab(
        cal("LINK", "TL", "02-01", [adapter]),
        cal("SCALE", "CS", "02-01", [adapter]),
        cal("CELL", "LC", "02-01", [adapter]),
        cal("NONE", "XX", "02-01", [adapter]),
        cal("NEXT", "YY", "03-01", [ref("TL")]),
        types={"TL": "tension_link", "CS": "crane_scale", "LC": "load_cell"},
    )
    effects = {"tension_link": "-0.0015", "crane_scale": "0"}
    fault = {"item": "ADP", "kind": "indication_effect_by_type", "effect_rel": effects} | OPEN
    answer = recall(laboratory, fault)
    assert only(answer, "LINK", "delta_rel", "shift") == ("-0.0015", "0.015")
    assert only(answer, "NEXT", "delta_rel", "shift") == ("-0.0015", "0.015")
    assert numbers(answer, "exposed_zero_effect") == ["SCALE"]
    assert numbers(answer, "indeterminate") == ["CELL", "NONE"]
    other = recall(laboratory, fault | {"other_types": "0.0002"})
    assert only(other, "NONE", "delta_rel", "shift") == ("0.0002", "-0.002")


def test_a_readout_used_on_both_sides_cancels_and_on_one_side_does_not() -> None:
    def sides(*roles: str, channel: str | None = "A") -> list[Any]:
        named = {} if channel is None else {"channel": channel}
        return [{"item": "RO", "role": role} | named for role in roles]

    result = [percent("0.05", applied="10", unit="kN")]
    laboratory = lab(
        cal("BOTH", "A", "02-01", sides("readout_reference", "readout_dut"), result),
        cal("REF", "B", "02-01", sides("readout_reference"), result),
        cal("DUT", "C", "02-01", sides("readout_dut"), result),
        cal("ABS", "D", "02-01", sides("readout_dut"), [row("10", "0.01")]),
        cal("OTHER", "E", "02-01", sides("display"), result),
        cal("B-SIDE", "F", "02-01", sides("readout_dut", channel="B"), result),
        cal("UNSAID", "G", "02-01", sides("readout_dut", channel=None), result),
        cal("NEXT", "H", "03-01", [ref("C")]),
    )
    fault = {"item": "RO", "channel": "A", "kind": "readout_gain", "gain": "1.25"} | OPEN
    answer = recall(laboratory, fault)
    assert numbers(answer, "exposed_zero_effect") == ["BOTH", "OTHER"]
    # reference: 1.0005 x 1.25 - 1 = 0.250625, in percent 25.0625; shift 25.0625 - 0.05
    assert only(answer, "REF", *EFFECT) == ("-0.2", "25.0125", "25.0625")
    # instrument: 1.0005 / 1.25 - 1 = 0.8004 - 1 = -0.1996, in percent -19.96; shift -20.01
    assert only(answer, "DUT", *EFFECT) == ("0.25", "-20.01", "-19.96")
    # absolute: 0.01 - 0.25 x 10 = -2.49; passed on: 1.25/1 - 1 = 0.25
    assert only(answer, "ABS", *EFFECT) == ("0.25", "-2.5", "-2.49")
    assert only(answer, "NEXT", "delta_rel") == ("0.25",)
    assert find(answer, "B-SIDE")["reason"] == "channel"
    assert numbers(answer, "indeterminate") == ["UNSAID"]
    assert find(answer, "BOTH")["reason_paths"] == [
        ["RO:A", "readout_dut", "BOTH"],
        ["RO:A", "readout_reference", "BOTH"],
    ]


def test_an_interval_lists_every_verdict_it_can_reach() -> None:
    fault = {"item": "REF", "kind": "interval", "bound_rel": "0.0005"} | OPEN
    rows = [row("10", "0.006", point=1, rule="four_state_U"), row("0", "0.001", point=2)]
    sure = [row("10", "0.001")]
    laboratory = lab(
        cal("MAY", "A", "02-01", [ref("REF")], rows),
        cal("SURE", "B", "02-01", [ref("REF", "0.5"), ref("REF", "0.25")], sure),
    )
    answer = recall(laboratory, fault)
    may, zero = find(answer, "MAY")["points"]
    assert may["delta_rel"] == {"lower": "-0.0005", "upper": "0.0005"}
    assert may["shift"] == {"lower": "-0.005", "upper": "0.005"}
    assert may["corrected_error"] == {"lower": "0.001", "upper": "0.011"}
    # zones end at 0.008, 0.01 and 0.012: 0.001 passes, 0.009 and 0.011 lie in the next two
    assert may["verdicts_possible"] == ["pass", "conditional_pass", "conditional_fail"]
    assert may["verdict_after"] is None
    assert find(answer, "MAY")["could_change"] is True
    assert (zero["delta_rel"], zero["shift"], zero["verdict_after"]) == ("0", "0", "pass")
    # summed weight 0.75: 0.000375 x 10 = 0.00375 each way about 0.001
    (point,) = find(answer, "SURE")["points"]
    assert point["corrected_error"] == {"lower": "-0.00275", "upper": "0.00475"}
    assert (point["verdicts_possible"], point["verdict_after"]) == (["pass"], "pass")
    assert "could_change" not in find(answer, "SURE")


def test_an_interval_wide_enough_for_both_fails_still_finds_the_pass_between() -> None:
    fault = {"item": "REF", "kind": "interval", "bound_rel": "0.01"} | OPEN
    answer = recall(lab(cal("C-1", "CI", "02-01", [ref("REF")])), fault)
    assert only(answer, "C-1", "verdicts_possible") == (["pass", "fail"],)


def test_an_unknown_fault_leaves_only_zero_force_known_and_is_passed_on() -> None:
    rows = [row("0", "0.001", point=1), row("10", "0.001", point=2)]
    laboratory = lab(
        cal("C-1", "A", "02-01", [ref("REF")], rows),
        cal("C-2", "B", "03-01", [ref("A")]),
        cal("C-3", "C", "03-01", [ref("A", "0"), ref("GOOD", "1")]),
    )
    answer = recall(laboratory, {"item": "REF", "kind": "unknown"} | OPEN)
    entry = find(answer, "C-1")
    assert [p["shift"] for p in entry["points"]] == ["0", None]
    assert [p["verdict_after"] for p in entry["points"]] == ["pass", None]
    assert entry["overall"] == {"single": {"before": "pass", "after": None}}
    assert entry["verdict_changes"] is None
    assert numbers(answer, "indeterminate") == ["C-1", "C-2"]
    assert numbers(answer, "exposed_zero_effect") == ["C-3"]


def test_a_drift_grows_from_the_last_good_instant_and_goes_on() -> None:
    fault = {"item": "REF", "kind": "linear_drift", "delta_rel": "0.001"}
    fault |= {"last_good_at": "2025-03-01T10:00:00Z", "measured_at": "2025-03-11T10:00:00Z"}
    fault |= {"isolated_at": "2025-03-31T10:00:00Z"}
    later = fault | {"last_good_at": "2025-03-01T18:00:00Z"}
    laboratory = lab(
        cal("QUARTER", "A", "2025-03-03T22:00:00Z", [ref("REF")]),
        cal("DOUBLE", "B", "03-21", [ref("REF")]),
        cal("NOON", "C", "2025-03-06", [ref("REF")]),
        cal("EARLY", "D", "03-01", [ref("REF")]),
        cal("SAME-DAY", "E", "2025-03-01", [ref("REF")]),
    )
    answer = recall(laboratory, fault)
    # 2.5 of 10 days; 20 of 10 days; noon of the 6th is 5 days and 2 hours: 122/240 of 0.001
    assert only(answer, "QUARTER", "delta_rel") == ("0.00025",)
    assert only(answer, "DOUBLE", "delta_rel") == ("0.002",)
    assert only(answer, "NOON", "delta_rel") == ("0.000508333333333",)
    assert find(answer, "NOON")["date_only"] is True
    assert find(answer, "EARLY")["reason"] == "window"
    # the day reaches into the window, but its noon lies before the fault began to grow
    assert find(recall(laboratory, later), "SAME-DAY")["class"] == "exposed_zero_effect"


def test_uncertainty_of_the_fault_widens_by_the_summed_weight() -> None:
    fault = force_fault(delta="0.001", U_delta_rel="0.0003", U_delta_k="2")
    uses = [ref("REF", "0.5"), ref("WS", "0.5")]
    laboratory = lab(
        cal("W-1", "WS", "02-01", [ref("REF", "0.6"), ref("GOOD", "0.4")]),
        cal("C-1", "CI", "03-01", uses, [row("10", "0.008", U="0.0018", k="2")]),
        cal("P-1", "CJ", "03-01", [ref("REF")], [percent("0.05", U_rel_pct="0.04")]),
    )
    answer = recall(laboratory, fault)
    # W = 0.5 + 0.5 x 0.6 = 0.8; 0.8 x 10 x 0.0003 = 0.0024; sqrt(0.0018^2 + 0.0024^2) = 0.003
    # delta = 0.0008: 0.008 - 0.008 = 0
    wanted = ("delta_rel", "corrected_error", "U_after")
    assert only(answer, "C-1", *wanted) == ("0.0008", "0", "0.003")
    # in percent: sqrt(0.04^2 + 0.03^2) = 0.05; (1.0005/1.001 - 1) x 100 = -0.0499500499500...
    assert only(answer, "P-1", "corrected_error", "U_after") == ("-0.04995004995", "0.05")


def test_several_faults_add_their_effects_and_the_squares_of_their_uncertainties() -> None:
    faults = [
        force_fault("R-1", "0.0004", U_delta_rel="0.0003", U_delta_k="2"),
        force_fault("R-2", "0.0002", U_delta_rel="0.0004", U_delta_k="2"),
    ]
    result = [row("10", "0", U="0", k="2")]
    answer = recall(lab(cal("C-1", "CI", "02-01", [ref("R-1"), ref("R-2")], result)), faults)
    # 0.0006 x 10 = 0.006; sqrt(0.003^2 + 0.004^2) = 0.005; 0.006 > 0.01 - 0.005
    assert only(answer, "C-1", "delta_rel", "shift", "U_after") == ("0.0006", "-0.006", "0.005")
    assert only(answer, "C-1", "verdict_before", "verdict_after") == ("pass", "fail")
    assert find(answer, "C-1")["reason_paths"] == [["R-1", "C-1"], ["R-2", "C-1"]]
    assert len(answer["window"]) == 2
