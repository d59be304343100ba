"""What a corrected revision took already is taken from what a later fault does to it.

Expected values by hand: what is left is delta less what was taken, point by point.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from graph_records import DAY, cal, point, use
from hypothesis import given
from hypothesis import strategies as st

from graph.corrected import GIVING_BACK, Removed, less, taken_before
from graph.faults import Effect, ForceError, IndicatesHigh, UnknownEffect, WithinInterval
from graph.lists import AFFECTED, CLEARED, INDETERMINATE
from graph.model import Taken, Window
from graph.recall import SuspectWindow, assess
from graph.shifts import Span, mover
from graph.traceability import in_order_of_dependence, reached

F = Fraction
OPEN = {"item": "REF", "start_us": 0, "end_us": 20 * DAY}


def case(kind=ForceError, **more):
    given_ = {"delta_rel": F("0.001")} if kind is ForceError else {}
    fault = kind(**OPEN | given_ | more)
    return SuspectWindow(fault, fault.window())


def took(*deltas, name="REF", channel=None, window=None, u=()):
    widened = tuple(F(one) ** 2 for one in u)
    return Taken(name, channel, window or Window(0, 20 * DAY), tuple(map(F, deltas)), widened)


def judged(suspect, *calibrations):
    by_key = {one.key: one for one in calibrations}
    graph = reached(calibrations)
    order = [by_key[key] for key in in_order_of_dependence(graph)]
    return {one.calibration.number: one for one in assess([suspect], order, graph)}


def corrected(*taken, points=None):
    """W-1, which used REF on day 10 and was corrected; C-2 rests on it."""
    first = cal(1, use(day=10), item="WS", points=points, taken=tuple(taken))
    return first, cal(2, use("WS", 12, source=1))


def test_the_same_fault_leaves_nothing_and_nothing_is_passed_on():
    found = judged(case(), *corrected(took("0.001")))
    assert (found["C-1"].list_name, found["C-1"].reason) == (CLEARED, "corrected")
    assert found.get("C-2") is None or found["C-2"].list_name == CLEARED


def test_another_estimate_leaves_the_difference_and_passes_it_on():
    found = judged(case(delta_rel=F("0.0013")), *corrected(took("0.001")))
    assert [found[n].list_name for n in ("C-1", "C-2")] == [AFFECTED, AFFECTED]
    # 0.0013 - 0.001 = 0.0003, carried to whoever rests on it.
    assert [found[n].effects[0][0].delta for n in ("C-1", "C-2")] == [F("0.0003")] * 2


def test_a_fault_of_no_size_gives_back_what_was_taken():
    found = judged(case(delta_rel=F(0)), *corrected(took("0.001")))
    assert found["C-1"].effects[0][0].delta == F("-0.001")


def test_each_point_has_its_own():
    points = (point(1, "10"), point(2, "20"))
    found = judged(case(), *corrected(took("0.001", "0.0004"), points=points))
    assert [one[0].delta for one in found["C-1"].effects] == [0, F("0.0006")]


def test_what_was_taken_twice_adds_up():
    found = judged(case(), *corrected(took("0.0007"), took("0.0003")))
    assert found["C-1"].reason == "corrected"


@pytest.mark.parametrize(
    "taken",
    [
        took("0.001", name="OTHER"),
        # (20, 30] begins where the window of the fault ends: no instant lies in both.
        took("0.001", window=Window(20 * DAY, 30 * DAY)),
        took("0.001", window=Window(-9 * DAY, -1)),
    ],
)
def test_what_was_taken_for_something_else_is_not_counted(taken):
    found = judged(case(), *corrected(taken))
    assert found["C-1"].effects[0][0].delta == F("0.001")


@pytest.mark.parametrize(
    ("theirs", "ours", "counts"),
    [("A", "A", True), ("A", "B", False), (None, "A", True), ("A", None, True)],
)
def test_a_channel_is_its_own_and_part_of_the_whole(theirs, ours, counts):
    one = cal(1, use(day=10), taken=(took("0.001", channel=theirs),))
    fault = ForceError(**OPEN, delta_rel=F("0.001"), channel=ours)
    suspect = SuspectWindow(fault, fault.window())
    assert (taken_before(suspect, [suspect], one) is not None) is counts


def test_an_unknown_effect_stays_unknown():
    found = judged(case(UnknownEffect), *corrected(took("0.001")))
    assert found["C-1"].list_name == INDETERMINATE


def test_both_ends_of_a_bound_move_by_what_was_taken():
    # Within +-0.0005, of which 0.001 was taken: from -0.0015 to -0.0005, for who rests on it too.
    fault = case(WithinInterval, bound_rel=F("0.0005"))
    found = judged(fault, *corrected(took("0.001")))
    for number in ("C-1", "C-2"):
        moved = mover([fault, GIVING_BACK], found[number].effects[0])
        assert moved.delta == Span(F("-0.0015"), F("-0.0005"))


def test_a_delta_that_does_not_end_is_the_same_as_its_kept_digits():
    # 1/(1 + 0.0007) - 1 = -0.000699510342760067...; an entry keeps 15 significant digits.
    kept = took("-0.000699510342760068")
    found = judged(case(IndicatesHigh, indication_rel=F("0.0007")), *corrected(kept))
    assert found["C-1"].reason == "corrected"


@pytest.mark.parametrize(
    ("U_delta", "list_name"),
    # u = U/2, of which 0.0002 is in U already.
    [("0.0004", CLEARED), ("0.0003", CLEARED), ("0.0005", AFFECTED)],
)
def test_an_uncertainty_that_U_holds_already_widens_nothing(U_delta, list_name):
    suspect = case(delta_rel=F(0), U_delta_rel=F(U_delta))
    (first, rests) = corrected(took("0", u=["0.0002"]))
    found = judged(suspect, first, rests)
    assert found["C-1"].list_name == list_name
    assert ("C-2" in found and found["C-2"].list_name == AFFECTED) is (list_name == AFFECTED)


def test_digits_that_are_not_kept_do_not_widen_U_again():
    # u = 0.001/3 does not end. U is 0.01 kN; what 9 digits lack is 2e-9 of (2 u x 10 kN)^2 in U^2.
    suspect = case(delta_rel=F(0), U_delta_rel=F("0.001"), U_delta_k=F(3))
    points = (point(1, "10", U="0.01"),)
    found = judged(suspect, *corrected(took("0", u=["0.000333333333"]), points=points))
    assert found["C-1"].reason == "corrected"


def test_the_delta_that_is_left_moves_a_result_whose_U_holds_the_rest():
    suspect = case(delta_rel=F("0.0013"), U_delta_rel=F("0.0004"))
    found = judged(suspect, *corrected(took("0.001", u=["0.0002"])))
    (effect,) = found["C-1"].effects[0]
    assert (effect.delta, effect.weight) == (F("0.0003"), 0)


DELTAS = st.integers(-2000, 2000).map(lambda n: F(n, 1_000_000))


@given(st.lists(st.tuples(DELTAS, DELTAS), min_size=1, max_size=5))
def test_what_is_left_and_what_was_taken_are_the_whole(pairs):
    fault = case().fault
    effects = [Effect(delta, F(1)) for delta, _ in pairs]
    points = [point(number) for number in range(len(pairs))]
    left = less(fault, effects, [Removed(taken) for _, taken in pairs], points)
    assert [one.delta + taken for one, (_, taken) in zip(left, pairs, strict=True)] == [
        delta for delta, _ in pairs
    ]
