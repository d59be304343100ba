"""Which effect of a set-up does a recall use, how uncertain is it? The mean, and three parts of U.

effect_rel is the mean relative difference of a comparison, signed as the faulty set-up acts on the
indication. A recall adds its uncertainty in squares as W x |applied| x U_delta_rel / U_delta_k and
expands the sum with the k of the result, usually 2. Degrees of freedom do not travel with it, so
the few runs of a comparison are paid for here: U_delta_rel = t x u with the t that covers 95.45 %,
and it is stated with U_delta_k = 2. The recall then works with a standard uncertainty enlarged by
t/2, which keeps the coverage where the effect dominates and is on the safe side elsewhere
(JCGM 100:2008, G.3 and G.4).

In squares: the scatter of the mean; the resolution of the two readings (r/sqrt(12) each); and the
change with force, since one number serves all forces: a rectangle over the range of the points,
taken about the effect, u^2 = a^2/3 + (middle - effect)^2 with the half-range a (JCGM 100:2008,
4.3.7). It enters whenever the points differ, because a few runs cannot show that it does not
matter. Where nothing was repeated, the stated uncertainties take the place of the scatter.

Not checked: that the points cover the forces of the certificates to be recalled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import ratio, square_root
from api.rules.uncertainty.comparison import (
    Readings,
    SetupComparison,
    difference_variance,
)
from api.rules.uncertainty.t_tests import TTest, coverage_factor

# The coverage factor that the U of an effect is stated with.
U_DELTA_K = Decimal(2)


@dataclass(frozen=True, slots=True)
class Contribution:
    """One part of the uncertainty of an effect, as a share of force.

    Attributes
    ----------
    name : str
        What it is.
    u_rel : Decimal
        Standard uncertainty.
    dof : Decimal or None
        Degrees of freedom; None is infinitely many.
    half_width_rel : Fraction or None
        Given for a rectangle.
    """

    name: str
    u_rel: Decimal
    dof: Decimal | None = None
    half_width_rel: Fraction | None = None


@dataclass(frozen=True, slots=True)
class SetupEffect:
    """Effect of a set-up on the indication, as a share of force.

    Attributes
    ----------
    effect_rel : Fraction
        Signed as the set-up acts on the indication.
    U_delta_rel : Decimal or None
        Its U at `U_DELTA_K`; None where nothing tells it.
    contributions : tuple of Contribution
        What makes it up, in squares.
    reason : str or None
        Why nothing tells it.
    """

    effect_rel: Fraction
    U_delta_rel: Decimal | None
    contributions: tuple[Contribution, ...]
    reason: str | None = None


def setup_effect(
    points: Sequence[Readings], found: SetupComparison, resolution: Decimal | None = None
) -> SetupEffect:
    """Return the effect of the other set-up, from the comparison of these readings.

    Parameters
    ----------
    points : sequence of Readings
        The readings compared.
    found : SetupComparison
        What `compare` found of them.
    resolution : Decimal, optional
        Smallest step of the reading, in its unit.

    Returns
    -------
    SetupEffect
    """
    scatter = _scatter(points, found)
    if scatter is None:
        return SetupEffect(
            found.mean_rel, None, (), "one run at one point, no stated uncertainties"
        )
    parts = [scatter]
    if resolution:
        parts.append(Contribution("resolution", _resolution(points, resolution)))
    if found.half_range_rel:
        parts.append(_change_with_force(found))
    total = sum((_enlarged(part) ** 2 for part in parts), Fraction(0))
    U = square_root(ratio(total * Fraction(U_DELTA_K) ** 2, Fraction(1)))
    if not U:
        reason = "the same difference in every run, and no resolution was given"
        return SetupEffect(found.mean_rel, None, tuple(parts), reason)
    return SetupEffect(found.mean_rel, U, tuple(parts))


def _scatter(points: Sequence[Readings], found: SetupComparison) -> Contribution | None:
    """Return the scatter of the mean: over runs, else over points, else what was stated."""
    tests: list[tuple[str, TTest | None]] = [
        ("scatter of runs", found.over_runs),
        ("scatter of points", found.over_points),
    ]
    for name, test in tests:
        if test is not None and test.standard_uncertainty is not None:
            return Contribution(name, test.standard_uncertainty, test.dof)
    squares = [
        difference_variance(point.usual_U, point.other_U, point.common_U, point.k)
        / Fraction(point.applied) ** 2
        for point in points
        if point.usual_U is not None and point.other_U is not None
    ]
    if not squares:
        return None
    return Contribution("stated uncertainties", square_root(ratio(max(squares), Fraction(1))))


def _change_with_force(found: SetupComparison) -> Contribution:
    half_range = found.half_range_rel
    middle = max(point.difference_rel for point in found.points) - half_range
    variance = half_range * half_range / 3 + (middle - found.mean_rel) ** 2
    u = square_root(ratio(variance, Fraction(1)))
    return Contribution("change with force", u, half_width_rel=half_range)


def _resolution(points: Sequence[Readings], resolution: Decimal) -> Decimal:
    """Two readings a point, each within half a digit; independent from point to point."""
    squares = sum(
        (Fraction(resolution) ** 2 / Fraction(p.applied) ** 2 for p in points), Fraction(0)
    )
    return square_root(ratio(squares / 6 / len(points) ** 2, Fraction(1)))


def _enlarged(part: Contribution) -> Fraction:
    factor = Fraction(1) if part.dof is None else Fraction(coverage_factor(part.dof)) / 2
    return Fraction(part.u_rel) * factor
