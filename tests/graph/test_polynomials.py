"""Curves and their way back, against mpmath and numpy, and by hand."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from mpmath import mp, mpf, polyroots

from graph.polynomials import (
    DEFLECTION,
    FORCE,
    AssignedCurve,
    CurveError,
    branch_of,
    crossings,
    value_at,
)

F = Fraction


def numbers(*texts: str) -> tuple[Fraction, ...]:
    return tuple(map(F, texts))


def test_a_straight_line_goes_there_and_back_exactly():
    # F = 100 d: 2 mV/V is 200 kN; a third of a newton is no rounded number either.
    line = AssignedCurve(FORCE, numbers("0", "100"), F(10), F(300))
    assert line.force_at(F(2)) == 200
    assert line.deflection_at(F(100, 3)) == F(1, 3)
    assert line.meets(F(1, 3), F(100, 3))


def test_a_root_that_ends_is_found_as_it_is():
    # d = 0.01 F + 0.00001 F^2 at F = 100: 1 + 0.1 = 1.1
    curve = AssignedCurve(DEFLECTION, numbers("0", "0.01", "0.00001"), F(10), F(200))
    assert curve.deflection_at(F(100)) == F("1.1")
    assert curve.force_at(F("1.1")) == 100


def drawn(number: int, degree: int) -> tuple[Fraction, ...]:
    """A nearly straight curve, as of a proving instrument that gives 2 mV/V at 200 kN."""
    dice = np.random.default_rng(number)
    bent = [F(int(n), 10 ** (2 * power)) for power, n in enumerate(dice.integers(-9, 9, degree), 1)]
    return (F(int(dice.integers(-9, 9)), 1000), F(100) + bent[0], *bent[1:])


@pytest.mark.parametrize("degree", [2, 3, 4, 5])
@pytest.mark.parametrize("number", range(8))
def test_the_way_back_is_the_root_that_mpmath_finds(number, degree):
    coefficients = drawn(number, degree)
    curve = AssignedCurve(FORCE, coefficients, F(10), F(200))
    with mp.workdps(80):
        for force in (F(10), F("66.67"), F(200)):
            lowered = [mpf(c.numerator) / c.denominator for c in coefficients]
            lowered[0] -= mpf(force.numerator) / force.denominator
            while not lowered[-1]:
                lowered.pop()
            roots = polyroots(lowered, asc=True, maxsteps=500, extraprec=400)
            # The root on the branch through zero is the nearest to zero of the real ones.
            real = [one.real for one in roots if abs(one.imag) < mpf(10) ** -60]
            found = curve.deflection_at(force)
            ours = mpf(found.numerator) / found.denominator
            assert abs(ours / min(real, key=abs) - 1) < mpf(10) ** -38


def test_sign_changes_are_those_that_numpy_finds():
    for number in range(40):
        dice = np.random.default_rng(number)
        wanted = sorted(set(dice.integers(-20, 20, 5).tolist()))
        whole = np.rint(np.poly(wanted)).astype(int)[::-1]
        found = crossings([F(int(one)) for one in whole])
        assert [float(one) for one in found] == pytest.approx(wanted)


def test_where_zero_is_only_touched_no_sign_changes():
    # (x - 1)^2 touches; (x - 1)^3 = -1 + 3 x - 3 x^2 + x^3 crosses once
    assert crossings(numbers("1", "-2", "1")) == []
    assert crossings(numbers("-1", "3", "-3", "1")) == [1]
    assert crossings(numbers("4")) == crossings([]) == []


def test_a_curve_that_turns_in_its_range_is_none():
    # d = F - F^2/100 turns at F = 50
    with pytest.raises(CurveError, match="turns"):
        AssignedCurve(DEFLECTION, numbers("0", "1", "-0.01"), F(10), F(60))
    AssignedCurve(DEFLECTION, numbers("0", "1", "-0.01"), F(10), F(50))
    with pytest.raises(CurveError, match="same value"):
        AssignedCurve(DEFLECTION, numbers("1", "0"), F(10), F(50))
    # F = d^2 turns at zero deflection; F = 50 d - d^2 never comes to 700 (its top is 625)
    with pytest.raises(CurveError, match="turns"):
        AssignedCurve(FORCE, numbers("0", "0", "1"), F(1), F(4))
    with pytest.raises(CurveError, match="whole range"):
        AssignedCurve(FORCE, numbers("0", "50", "-1"), F(100), F(700))


@pytest.mark.parametrize("of", [FORCE, DEFLECTION])
def test_the_ends_are_inside_and_what_lies_beyond_is_refused(of):
    curve = AssignedCurve(of, numbers("0", "2"), F(10), F(20))
    for force in (F(10), F(20)):
        assert curve.force_at(curve.deflection_at(force)) == force
    with pytest.raises(CurveError, match="outside"):
        curve.deflection_at(F("20.0001"))
    beyond = F("20.0001") * (F(1, 2) if of == FORCE else 2)
    with pytest.raises(CurveError, match="outside"):
        curve.force_at(beyond)
    assert curve.meant_by(beyond) == F("20.0001")


def test_a_branch_ends_where_the_polynomial_turns():
    # x^3 - 3 x turns at -1 and 1: between them it has the values from 2 down to -2
    branch = branch_of(numbers("0", "-3", "0", "1"), F(0), F("0.5"))
    assert (branch.above, branch.below) == (-1, 1)
    assert branch.where(F(2)) == -1
    assert branch.where(F("2.001")) is None
    outer = branch_of(numbers("0", "-3", "0", "1"), F(2), F(3))
    assert outer.where(F(18)) == 3  # 27 - 9
    assert value_at(outer.coefficients, F(3)) == 18
