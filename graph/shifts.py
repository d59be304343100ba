"""By how much each result moves, and how uncertain it is afterwards.

shift = corrected error - error, in the unit of the point (percentage points for relative results).
Absolute results: corrected = error - delta x applied. Relative results: corrected =
(1 + e)/(1 + delta) - 1. A bounded fault gives both ends. The uncertainty of delta enters in
quadrature with the summed weight of all paths of one fault (fully correlated with itself), and in
squares over independent faults (JCGM 100:2008, 5.1.2 and 5.2.2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from graph.exact import root
from graph.faults import Effect
from graph.model import Point
from graph.recall import Case

PERCENT = Fraction(100)


@dataclass(frozen=True, slots=True)
class Span:
    """A value that may lie anywhere from `lower` to `upper`; one value where they are equal."""

    lower: Fraction
    upper: Fraction


@dataclass(frozen=True, slots=True)
class Shifted:
    """One point after the fault; None where it is unknown.

    `U_after` is None where U stays; it is an irrational root, cut at 50 digits, unless `U_exact`.
    """

    delta: Span | None
    shift: Span | None
    corrected: Span | None
    U_after: Fraction | None
    U_exact: bool
    bounded: bool


def shifted(point: Point, cases: Sequence[Case], effects: Sequence[Effect]) -> Shifted:
    """Move one point by the effects of all cases (one `Effect` per case, in their order)."""
    bounded = any(case.fault.bounded for case in cases)
    delta = _delta(cases, effects)
    if point.force_n == 0:
        delta = Span(Fraction(0), Fraction(0))
    if delta is None:
        return Shifted(None, None, None, None, True, bounded)
    shift = _shift(point, delta)
    corrected = None
    if shift is not None and point.error is not None:
        corrected = Span(point.error + shift.lower, point.error + shift.upper)
    U_after, exact = _U_after(point, cases, effects)
    return Shifted(delta, shift, corrected, U_after, exact, bounded)


def _delta(cases: Sequence[Case], effects: Sequence[Effect]) -> Span | None:
    known, bound = Fraction(0), Fraction(0)
    for case, effect in zip(cases, effects, strict=True):
        if effect.delta is None:
            return None
        if case.fault.bounded:
            bound += abs(effect.delta)
        else:
            known += effect.delta
    return Span(known - bound, known + bound)


def _shift(point: Point, delta: Span) -> Span | None:
    if delta.lower == delta.upper == 0:
        return Span(Fraction(0), Fraction(0))
    if point.relative:
        if point.error is None:
            return None
        ends = [_relative_shift(point.error, end) for end in (delta.lower, delta.upper)]
    elif point.applied is None:
        return None
    else:
        ends = [-end * point.applied for end in (delta.lower, delta.upper)]
    return Span(min(ends), max(ends))


def _relative_shift(error_pct: Fraction, delta: Fraction) -> Fraction:
    corrected = (1 + error_pct / PERCENT) / (1 + delta) - 1
    return corrected * PERCENT - error_pct


def _U_after(
    point: Point, cases: Sequence[Case], effects: Sequence[Effect]
) -> tuple[Fraction | None, bool]:
    if point.U is None or all(case.fault.U_delta_rel is None for case in cases):
        return None, True
    added = Fraction(0)
    for case, effect in zip(cases, effects, strict=True):
        fault = case.fault
        if fault.U_delta_rel is not None and effect.weight != 0 and point.applied is not None:
            added += (effect.weight * point.applied * fault.U_delta_rel / fault.U_delta_k) ** 2
    if added == 0:
        return point.U, True
    combined, exact = root((point.U / point.k) ** 2 + added)
    return point.k * combined, exact
