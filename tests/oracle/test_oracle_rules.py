"""Does the oracle hold to the rules of time, structure, status and checks?

Each case is small enough to judge by eye against DESIGN sections 5 and 9.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from oracle_cases import OPEN, cal, find, force_fault, lab, numbers, only, ref, row
from oracle_numbers import root, text
from oracle_verdicts import verdict
from recall_oracle import LISTS, recall


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (Fraction(1, 8), "0.125"),
        (Fraction(-3), "-3"),
        (Fraction(0), "0"),
        (Fraction(2, 3), "0.666666666667"),
        (Fraction(1, 3) / 10**9, "0.000000000333333333333"),
        (Fraction(10**15, 7), "142857142857000"),
        (Fraction("1.23456789012345678"), "1.23456789012345678"),
        (Fraction(12300), "12300"),
    ],
)
def test_numbers_are_written_in_full_or_to_twelve_digits(value: Fraction, written: str) -> None:
    assert text(value) == written


def test_an_even_root_is_exact_and_an_uneven_one_is_rounded() -> None:
    assert root(Fraction(9, 16)) == (Fraction(3, 4), True)
    # sqrt(2) = 1.41421356237309...
    assert text(*root(Fraction(2))) == "1.41421356237"


@pytest.mark.parametrize(
    ("error", "found"),
    [
        ("8", "pass"),
        ("8.1", "conditional_pass"),
        ("10", "conditional_pass"),
        ("12", "conditional_fail"),
        ("12.1", "fail"),
        ("-3", "pass"),
        ("-3.5", "conditional_pass"),
        ("-7", "conditional_fail"),
    ],
)
def test_zones_keep_their_edge_for_the_better_verdict(error: str, found: str) -> None:
    limits = (Fraction(-5), Fraction(10))
    assert verdict(Fraction(error), Fraction(2), limits, "four_state_U") == found


def test_an_empty_acceptance_interval_passes_nothing() -> None:
    limits = (Fraction(-1), Fraction(1))
    assert verdict(Fraction(0), Fraction(2), limits, "guard_U") == "fail"


def test_a_recalibration_through_a_good_chain_ends_the_exposure() -> None:
    laboratory = lab(
        cal("W-1", "WS", "02-01", [ref("REF")]),
        cal("C-1", "CI", "03-01", [ref("WS")]),
        cal("W-2", "WS", "03-10", [ref("GOOD")]),
        cal("C-2", "CJ", "03-10", [ref("WS")]),
        cal("C-3", "CK", "03-20", [ref("WS", certificate="W-1")]),
    )
    answer = recall(laboratory, force_fault())
    assert numbers(answer, "affected") == ["W-1", "C-1", "C-3"]


def test_exposure_goes_one_step_and_ends_with_any_issued_calibration() -> None:
    laboratory = lab(
        cal("W-1", "WS", "02-01", [ref("REF")], assigns_value=False),
        cal("C-1", "CI", "03-01", [ref("WS")]),
        cal("D-1", "DI", "03-02", [ref("CI")]),
        cal("W-2", "WS", "04-01", [ref("GOOD")], assigns_value=False),
        cal("C-2", "CJ", "04-02", [ref("WS")]),
    )
    answer = recall(laboratory, force_fault())
    assert numbers(answer, "affected") == ["W-1"]
    assert numbers(answer, "exposed_zero_effect") == ["C-1"]
    assert find(answer, "C-1")["reason_paths"] == [["REF", "W-1", "WS", "C-1"]]
    assert [name for name in LISTS if "D-1" in numbers(answer, name)] == []
    assert [name for name in LISTS if "C-2" in numbers(answer, name)] == []


def test_passed_on_effects_run_straight_between_forces_and_are_held_outside() -> None:
    found = [row(f, point=n) for n, f in enumerate(("10", "20"), 1)]
    asked = [row(f, point=n) for n, f in enumerate(("5", "12.5", "40"), 1)]
    weights = ref("REF", {"1": "1", "2": "0.5"}), ref("GOOD", {"1": "0", "2": "0.5"})
    laboratory = lab(
        cal("W-1", "WS", "02-01", list(weights), found),
        cal("C-1", "CI", "03-01", [ref("WS")], asked),
    )
    points = find(recall(laboratory, force_fault(delta="0.0004")), "C-1")["points"]
    # nodes 0.0004 at 10 and 0.0002 at 20; a quarter of the way at 12.5
    assert [p["delta_rel"] for p in points] == ["0.0004", "0.00035", "0.0002"]


def test_as_left_gives_the_nodes_and_equal_forces_are_averaged() -> None:
    found = [
        row("10", point=1, stage="as_found"),
        row("10", point=2, stage="as_left"),
        row("10", point=3, stage="as_left"),
        row("20", point=4, stage="as_left"),
    ]
    laboratory = lab(
        cal("W-1", "WS", "02-01", [ref("REF", points=[1, 2])], found),
        cal("C-1", "CI", "03-01", [ref("WS")], [row("10")]),
    )
    answer = recall(laboratory, force_fault(delta="0.0004"))
    # as left at 10: 0.0004 and 0, averaged 0.0002
    assert only(answer, "C-1", "delta_rel") == ("0.0002",)
    stages = find(answer, "W-1")["overall"]
    assert list(stages) == ["as_found", "as_left"]


def test_weights_that_cancel_leave_a_certificate_exposed() -> None:
    laboratory = lab(
        cal("W-1", "WS", "02-01", [ref("REF")]),
        cal("C-1", "CI", "03-01", [ref("REF", "1"), ref("WS", "-1")]),
    )
    entry = find(recall(laboratory, force_fault(U_delta_rel="0.0001")), "C-1")
    assert entry["class"] == "exposed_zero_effect"
    assert entry["path_count"] == 2
    assert "U_after" not in entry["points"][0]


def test_a_faulty_use_takes_the_fault_alone_not_its_value_in_force_on_top() -> None:
    laboratory = lab(
        cal("W-1", "WS", "02-01", [ref("REF")]),
        cal("R-1", "REF", "03-01", [ref("WS")]),
        cal("C-1", "CI", "04-01", [ref("REF")]),
    )
    answer = recall(laboratory, force_fault(delta="0.0004"))
    assert only(answer, "C-1", "delta_rel") == ("0.0004",)
    assert find(answer, "C-1")["reason_paths"] == [["REF", "C-1"]]


def test_a_calibration_that_rests_on_itself_is_refused() -> None:
    laboratory = lab(
        cal("A-1", "A", "2025-02-01", [ref("B")]), cal("B-1", "B", "2025-02-01", [ref("A")])
    )
    with pytest.raises(ValueError, match="rests on itself"):
        recall(laboratory, force_fault("REF"))


@pytest.mark.parametrize("status", ["superseded", "voided", "draft"])
def test_certificates_not_issued_are_traced_or_cleared_by_status(status: str) -> None:
    laboratory = lab(
        cal("C-1", "CI", "02-01", [ref("REF")], status=status),
        cal("C-2", "CJ", "2024-02-01T00:00:00Z", [ref("REF")], status=status),
        cal("C-3", "CK", "03-01", [ref("CI")]),
    )
    answer = recall(laboratory, force_fault())
    assert answer["traced_not_recalled"] == [
        {
            "certificate": "C-1",
            "revision": 0,
            "item": "CI",
            "class": "traced_not_recalled",
            "generation": 1,
            "reason": status,
            "reason_paths": [["REF", "C-1"]],
            "path_count": 1,
        }
    ]
    assert find(answer, "C-2")["reason"] == "status"
    assert numbers(answer, "affected") == []


PARTS = [
    {"assembly": "SUB", "part": "PIN", "from": "2025-02-10T00:00:00Z", "until": None},
    {
        "assembly": "ADP",
        "part": "SUB",
        "from": "2025-01-01T00:00:00Z",
        "until": "2025-03-01T12:00:00Z",
    },
]


def test_a_part_is_followed_through_nested_assemblies_while_they_held_it() -> None:
    laboratory = lab(
        cal("BEFORE", "A", "02-09", [ref("ADP")]),
        cal("WITHIN", "B", "02-11", [ref("ADP")]),
        cal("AFTER", "C", "2025-03-01T12:00:00Z", [ref("ADP")]),
        cal("THAT-DAY", "D", "2025-03-01", [ref("ADP")]),
        cal("SUB-ONLY", "E", "04-01", [ref("SUB")]),
        composition=PARTS,
    )
    answer = recall(laboratory, force_fault("PIN"))
    assert find(answer, "WITHIN")["reason_paths"] == [["PIN", "SUB", "ADP", "WITHIN"]]
    assert numbers(answer, "affected") == ["SUB-ONLY", "THAT-DAY", "WITHIN"]
    assert {find(answer, n)["reason"] for n in ("BEFORE", "AFTER")} == {"part"}


def test_a_bare_date_is_inside_if_any_instant_of_the_local_day_is() -> None:
    window = {"last_good_at": "2025-03-02T04:59:59.999999Z", "isolated_at": "2025-03-05T05:00:00Z"}
    days = ["2025-03-01", "2025-03-02", "2025-03-05", "2025-03-06"]
    calibrations = [cal(day, f"CI-{day}", day, [ref("REF")]) for day in days]
    laboratory = lab(*calibrations, time_zone="America/New_York")
    # New York midnight is 05:00Z: the 1st ends at 04:59:59.999999Z, the 5th starts at 05:00Z
    answer = recall(laboratory, force_fault() | window)
    assert numbers(answer, "affected") == ["2025-03-02", "2025-03-05"]
    assert numbers(answer, "cleared") == ["2025-03-01", "2025-03-06"]


def test_a_date_time_without_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="without zone"):
        recall(lab(cal("C-1", "CI", "2025-03-01T10:00:00", [ref("REF")])), force_fault())


GOOD_CHECK = {
    "id": "K-1",
    "item": "REF",
    "at": "2025-03-01T00:00:00Z",
    "result": "pass",
    "acceptance_limit_rel": "0.0002",
    "U_rel": "0.0002",
    "independent": True,
    "covers": "full range",
}
MOVED, KEPT = "2025-03-01T00:00:00Z", OPEN["last_good_at"]


@pytest.mark.parametrize(
    ("change", "start"),
    [
        ({}, MOVED),
        ({"acceptance_limit_rel": "0.0003"}, KEPT),
        ({"independent": False}, KEPT),
        ({"independent": None}, KEPT),
        ({"covers": None}, KEPT),
        ({"covers": ["10"]}, MOVED),
        ({"covers": ["10 N"]}, KEPT),
        ({"covers": {"points": ["10000"], "unit": "N"}}, MOVED),
        ({"against": "GOOD"}, MOVED),
        ({"against": "WS"}, KEPT),
        ({"at": OPEN["isolated_at"]}, OPEN["isolated_at"]),
        ({"at": OPEN["last_good_at"]}, KEPT),
        ({"result": "fail"}, KEPT),
        ({"U_rel": None}, KEPT),
    ],
)
def test_only_a_capable_independent_covering_pass_moves_the_start(
    change: dict[str, Any], start: str
) -> None:
    # 0.0002 + 0.0002 = 0.0004 < 0.0005; with 0.0003 the sum equals the fault and is too coarse
    laboratory = lab(
        cal("W-1", "WS", "02-01", [ref("REF")]),
        cal("G-1", "GOOD", "02-01", [ref("OTHER")]),
        checks=[GOOD_CHECK | change],
    )
    assert recall(laboratory, force_fault())["window"]["start"] == start


def test_a_pass_after_or_at_a_capable_failure_moves_nothing() -> None:
    late = GOOD_CHECK | {"at": "2025-04-01T00:00:00Z"}
    failed = late | {"result": "fail"}
    coarse = failed | {"acceptance_limit_rel": "1", "at": "2025-03-15T00:00:00Z"}
    uses = cal("W-1", "WS", "02-01", [ref("REF")])

    def start(*checks: Any) -> Any:
        return recall(lab(uses, checks=list(checks)), force_fault())["window"]["start"]

    assert start(late, failed, GOOD_CHECK) == MOVED
    assert start(late, coarse) == late["at"]
    assert start(late, failed | {"at": KEPT}) == late["at"]


def test_a_calibration_without_results_is_indeterminate_and_passes_that_on() -> None:
    laboratory = lab(
        cal("W-1", "WS", "02-01", [ref("REF")], []), cal("C-1", "CI", "03-01", [ref("WS")])
    )
    answer = recall(laboratory, force_fault())
    assert numbers(answer, "indeterminate") == ["W-1", "C-1"]
    assert find(answer, "W-1")["points"] == []


def test_entries_come_by_generation_then_number_and_paths_by_length_then_text() -> None:
    laboratory = lab(
        cal("Z-1", "WB", "02-01", [ref("REF")]),
        cal("Y-1", "WA", "02-01", [ref("REF")]),
        cal("A-1", "CI", "03-01", [ref("WB", "0.3"), ref("WA", "0.3")]),
        cal("B-1", "CJ", "03-01", [ref("WB"), ref("REF", "0"), ref("WA", "0")]),
    )
    answer = recall(laboratory, force_fault())
    assert numbers(answer, "affected") == ["B-1", "Y-1", "Z-1", "A-1"]
    assert find(answer, "B-1")["reason_paths"] == [
        ["REF", "B-1"],
        ["REF", "Y-1", "WA", "B-1"],
        ["REF", "Z-1", "WB", "B-1"],
    ]


def test_no_more_than_fifty_paths_are_given_and_all_are_counted() -> None:
    working = [cal(f"W-{n:02}", f"WS-{n:02}", "02-01", [ref("REF")]) for n in range(60)]
    uses = [ref(f"WS-{n:02}", "0.01") for n in range(60)]
    entry = find(recall(lab(*working, cal("C-1", "CI", "03-01", uses)), force_fault()), "C-1")
    assert (len(entry["reason_paths"]), entry["path_count"]) == (50, 60)
    # 60 x 0.01 x 0.0005
    assert entry["points"][0]["delta_rel"] == "0.0003"
