"""Which check moves the start of the window."""

from __future__ import annotations

from fractions import Fraction

import pytest
from graph_records import DAY, at

from graph.faults import ForceError, Segment, SegmentedForceError, UnknownEffect, WithinInterval
from graph.model import Check
from graph.narrowing import narrow

F = Fraction
OPEN = {"item": "REF", "start_us": 10 * DAY, "end_us": 90 * DAY}
FAULT = ForceError(**OPEN, delta_rel=F("-0.0005"))
USED = (F(10_000), F(50_000))


def check(day: int, passed: bool = True, **more) -> Check:
    """A capable check, unless told otherwise: 0.0003 + 0.0001 = 0.0004 < 0.0005."""
    sound = {"limit_rel": F("0.0003"), "U_rel": F("0.0001"), "independent": True}
    return Check(f"K-{day}", at(day), passed, **sound | {"covers_n": "full range"} | more)


def start(*checks: Check, fault=FAULT, used=USED) -> int:
    window, _ = narrow(fault, checks, used)
    assert window.start_us is not None
    return window.start_us // DAY


def test_the_last_capable_check_that_passed_is_the_last_good_evidence():
    assert start(check(40), check(20)) == 40


@pytest.mark.parametrize("day", [5, 10, 91])
def test_a_check_outside_the_window_is_not_looked_at(day):
    window, considered = narrow(FAULT, [check(day)], USED)
    assert (window, considered) == (FAULT.window(), [])


def test_a_check_at_the_last_instant_still_counts():
    assert start(check(90)) == 90


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"independent": None}, "does not say"),
        ({"independent": False}, "not independent"),
        ({"limit_rel": None}, "not recorded"),
        ({"U_rel": None}, "not recorded"),
        ({"covers_n": None}, "does not cover"),
        ({"covers_n": "half"}, "does not cover"),
        ({"covers_n": (F(60_000),)}, "does not cover"),
        # 0.0003 + 0.0002 = 0.0005, not below the fault
        ({"U_rel": F("0.0002")}, "not below"),
    ],
)
def test_a_check_that_could_not_have_seen_the_fault_moves_nothing(changes, why):
    window, (considered,) = narrow(FAULT, [check(40, **changes)], USED)
    assert window == FAULT.window()
    assert not considered.moves_start
    assert why in considered.why


def test_after_a_capable_failure_a_pass_moves_nothing():
    checks = [check(20), check(30, passed=False), check(40)]
    window, considered = narrow(FAULT, checks, USED)
    assert window.start_us == 20 * DAY
    assert [one.moves_start for one in considered] == [True, False, False]
    assert "K-30" in considered[2].why


def test_a_failure_at_the_same_instant_comes_first():
    assert start(check(30), check(30, passed=False)) == 10


def test_a_failure_that_could_not_see_the_fault_stops_nothing():
    assert start(check(30, passed=False, independent=False), check(40)) == 40


def test_a_check_by_points_covers_the_range_in_which_the_item_was_used():
    assert start(check(40, covers_n=(F(50_000),))) == 40
    assert start(check(40, covers_n=(F(50_000),)), used=None) == 10


def test_a_check_by_points_must_meet_every_faulty_segment():
    segments = (
        Segment(None, F(10_000), F(0)),
        Segment(F(10_000), F(20_000), F("0.0005")),
        Segment(F(20_000), None, F("-0.0009")),
    )
    fault = SegmentedForceError(**OPEN, segments=segments)
    assert start(check(40, covers_n=(F(20_000), F(30_000))), fault=fault) == 40
    assert start(check(40, covers_n=(F(10_000), F(30_000))), fault=fault) == 10


@pytest.mark.parametrize(
    "fault", [UnknownEffect(**OPEN), WithinInterval(**OPEN, bound_rel=F("0.5"))]
)
def test_what_has_no_smallest_magnitude_is_never_narrowed(fault):
    assert start(check(40), fault=fault) == 10
