"""By how much a result moves, and its uncertainty afterwards."""

from __future__ import annotations

from fractions import Fraction

import pytest
from graph_records import DAY, percent, point

from graph.faults import NO_EFFECT, UNKNOWN, Effect, ForceError, WithinInterval
from graph.shifts import Shifted, Span, mover
from graph.suspects import SuspectWindow

F = Fraction


def case(kind=ForceError, U=None, k="2", **numbers) -> SuspectWindow:
    given = {name: F(value) for name, value in numbers.items()} or {"delta_rel": F("0.001")}
    fault = kind(
        item="REF",
        start_us=0,
        end_us=DAY,
        U_delta_rel=None if U is None else F(U),
        U_delta_k=F(k),
        **given,
    )
    return SuspectWindow(fault, fault.window())


def effect(delta: str, weight: str = "1") -> Effect:
    return Effect(F(delta), F(weight))


one = F  # one number, however it is held


def shifted(moved, cases, effects) -> Shifted:
    return mover(cases, effects).move(moved)


def test_an_absolute_error_moves_by_delta_times_the_applied_force():
    # 20 x 0.0005 = 0.01; 0.002 - 0.01 = -0.008
    moved = shifted(point(kn="20", error="0.002"), [case()], [effect("0.0005")])
    assert (moved.delta, moved.shift, moved.corrected) == (
        one("0.0005"),
        one("-0.01"),
        one("-0.008"),
    )
    assert moved.U_after is None


@pytest.mark.parametrize("U", [None, "0.0001"])
def test_a_shift_keeps_every_digit_of_a_long_delta(U):
    # 20 x 0.00012345678901234567890123456789012345, digit by digit; 35 digits, where a context of
    # Python's rounds to 28.
    delta = "0.00012345678901234567890123456789012345"
    moved = shifted(point(kn="20", error="0"), [case(U=U)], [effect(delta)])
    assert moved.shift == one("-0.002469135780246913578024691357802469")
    assert moved.corrected == moved.shift


def test_a_relative_error_is_referred_to_the_true_force():
    # (1 + 0.05)/(1 + 0.05) - 1 = 0 %, from 5 %
    moved = shifted(percent(error="5"), [case()], [effect("0.05")])
    assert (moved.shift, moved.corrected) == (one("-5"), one("0"))


def test_an_unknown_effect_leaves_everything_unknown_but_a_zero_point_stays():
    moved = shifted(point(), [case()], [UNKNOWN])
    assert (moved.delta, moved.shift, moved.corrected, moved.U_after) == (None,) * 4
    zero = shifted(point(kn="0"), [case()], [UNKNOWN])
    assert (zero.shift, zero.corrected) == (one("0"), one("0"))


def test_without_an_error_there_is_nothing_to_correct():
    moved = shifted(point(error=None), [case()], [effect("0.001")])
    assert (moved.shift, moved.corrected) == (one("-0.01"), None)
    assert shifted(percent(error=None), [case()], [effect("0.001")]).shift is None
    assert shifted(point(kn=None), [case()], [effect("0.001")]).shift is None
    assert shifted(point(kn=None), [case()], [NO_EFFECT]).shift == one("0")


def test_an_effect_that_leaves_no_true_force_gives_no_relative_error():
    assert shifted(percent(), [case()], [effect("-1")]).shift is None
    wide = case(WithinInterval, bound_rel="0.5")
    assert shifted(percent(), [wide], [effect("1", "2")]).corrected is None
    # The absolute error does not divide by the true force: 10 x 1 = 10.
    assert shifted(point(), [case()], [effect("-1")]).shift == one("10")


def test_several_faults_add_their_deltas():
    moved = shifted(point(), [case(), case()], [effect("0.001"), effect("-0.0004")])
    assert (moved.delta, moved.shift) == (one("0.0006"), one("-0.006"))


def test_an_interval_gives_both_ends_around_what_is_known():
    cases = [case(), case(WithinInterval, bound_rel="0.002")]
    moved = shifted(point(error="0.001"), cases, [effect("0.001"), effect("0.002")])
    # 0.001 - 0.002 to 0.001 + 0.002; times 10 kN with the sign turned
    assert moved.delta == Span(F("-0.001"), F("0.003"))
    assert moved.shift == Span(F("-0.03"), F("0.01"))
    assert moved.corrected == Span(F("-0.029"), F("0.011"))


def test_the_uncertainty_of_the_correction_adds_in_squares():
    # u: 0.03/2 = 0.015; W |applied| U_delta/k = 1 x 10 x 0.004/2 = 0.02; U = 2 x 0.025
    moved = shifted(point(U="0.03"), [case(U="0.004")], [effect("0.001")])
    assert (moved.U_after, moved.U_exact) == (F("0.05"), True)


def test_paths_of_one_fault_are_correlated_and_faults_are_not():
    # One fault over two paths: W = 2 x 0.5 = 1, as above. Two faults with W = 0.6 and 0.8 of
    # 0.02 each: 0.012 and 0.016, together 0.02 too.
    two = [case(U="0.004"), case(U="0.004")]
    moved = shifted(point(U="0.03"), two, [effect("0.001", "0.6"), effect("0.001", "0.8")])
    assert (moved.U_after, moved.U_exact) == (F("0.05"), True)


def test_a_root_without_end_is_marked():
    moved = shifted(point(U="0.02"), [case(U="0.002")], [effect("0.001")])
    # 2 x sqrt(0.01^2 + 0.01^2) = 0.02 x sqrt(2) = 0.0282842712...
    assert not moved.U_exact
    assert abs(F(moved.U_after) - F("0.0282842712474619")) < F(1, 10**14)


def test_the_uncertainty_of_a_relative_result_is_in_percentage_points():
    # 100 x 0.0004/2 = 0.02; sqrt(0.015^2 + 0.02^2) x 2 = 0.05
    assert shifted(percent(U="0.03"), [case(U="0.0004")], [effect("0.001")]).U_after == F("0.05")


def test_where_nothing_comes_through_the_uncertainty_stays():
    assert shifted(point(U="0.03"), [case(U="0.004")], [NO_EFFECT]).U_after == F("0.03")
    assert shifted(point(U=None), [case(U="0.004")], [effect("0.001")]).U_after is None
