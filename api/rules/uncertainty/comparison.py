"""What does another set-up change in the reading of an instrument? Two set-ups at the same points.

Difference = mean reading with the other set-up - mean reading with the usual one; relative
differences are shares of the applied force. A point is tested by paired t where both set-ups have
the same runs there, by Welch's t otherwise.

Choices for the whole. Readings of one run share its mounting, so the points of a run are not
independent: the test that decides takes one mean over the points from each run (`over_runs`), which
needs the same runs at every point. The t over the points' differences (`over_points`) is always
given, and decides only where runs cannot: it takes a change with force for scatter, and a mounting
for an effect. Where all runs agree to the digit, a difference beyond the resolution decides, then
E_n. Weights: plain, or by the square of the force, which makes the effect the slope of the
difference over the force through zero.

Type B contribution of a set-up that may be either one: the value lies anywhere in the full width d,
a rectangle of half-width d/2 about the middle of the two, u = d/sqrt(12) (JCGM 100:2008, 4.3.7).
E_n = |d|/sqrt(U1^2 + U2^2), with U at k = 2 and judged at 1 (ISO/IEC 17043:2010, B.3.1.3;
ISO 13528; from memory, verify); what both U hold of the same reference (`common_U`) cancels in the
difference and is taken out of each.

Not checked: drift between the set-ups, and that nothing but the set-up changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import FieldError, ratio, square_root
from api.rules.uncertainty.t_tests import TTest, paired_t, weighted_mean, welch_t

WEIGHTINGS = ("plain", "force_squared")
PAIRINGS = ("by_run", "none")
_ONE = Fraction(1)


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of one instrument at one force, by run number; all in one unit.

    Parameters
    ----------
    applied : Decimal
        The force, not 0.
    usual, other : mapping of int to Decimal
        Readings with the two set-ups, at least one each.
    usual_U, other_U : Decimal, optional
        Expanded uncertainties of the mean readings, at `k`.
    common_U : Decimal
        What both hold of the same reference, at `k`; no larger than either.
    k : Decimal
        Coverage factor of all three, above 0.
    """

    applied: Decimal
    usual: Mapping[int, Decimal]
    other: Mapping[int, Decimal]
    usual_U: Decimal | None = None
    other_U: Decimal | None = None
    common_U: Decimal = Decimal(0)
    k: Decimal = Decimal(2)

    def shares(self, setup: str, runs: Iterable[int]) -> list[Fraction]:
        """Return readings as shares of the applied force, by run.

        Parameters
        ----------
        setup : str
            "usual", or else the other.
        runs : iterable of int
            Run numbers.

        Returns
        -------
        list of Fraction
            In the order of `runs`.
        """
        readings = self.usual if setup == "usual" else self.other
        return [Fraction(readings[run]) / Fraction(self.applied) for run in runs]


@dataclass(frozen=True, slots=True)
class NormalizedError:
    """E_n, and whether it is above 1 (ISO/IEC 17043:2010, B.3.1.3, from memory, verify).

    Attributes
    ----------
    value : Decimal or None
        Its magnitude, 50 digits; None where it does not exist.
    exceeds : bool or None
        Whether it is above 1.
    reason : str or None
        Why it does not exist.
    """

    value: Decimal | None
    exceeds: bool | None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class PointComparison:
    """One point: the test of the difference in the unit of the readings, E_n, and means.

    Attributes
    ----------
    applied : Decimal
        The force.
    usual_mean, other_mean : Fraction
        Mean readings with the two set-ups.
    test : TTest
        Of the other set-up less the usual one.
    normalized_error : NormalizedError or None
        None where no uncertainties were stated.
    """

    applied: Decimal
    usual_mean: Fraction
    other_mean: Fraction
    test: TTest
    normalized_error: NormalizedError | None

    @property
    def difference(self) -> Fraction:
        """Other set-up less the usual one."""
        return self.test.mean

    @property
    def difference_rel(self) -> Fraction:
        """As a share of the applied force."""
        return self.test.mean / Fraction(self.applied)


@dataclass(frozen=True, slots=True)
class SetupComparison:
    """All points, what they say together, and which test decided.

    Attributes
    ----------
    points : tuple of PointComparison
        In the order given.
    mean_rel : Fraction
        Mean difference as a share of the applied force, signed.
    over_runs : TTest or None
        Of one mean over the points from each run; None where a run misses a point.
    over_points : TTest
        Of the differences of the points.
    basis : str or None
        What decided: "runs", "resolution", "points" or "E_n".
    significant : bool or None
        Whether the set-up matters; None without a basis.
    """

    points: tuple[PointComparison, ...]
    mean_rel: Fraction
    over_runs: TTest | None
    over_points: TTest
    basis: str | None
    significant: bool | None

    @property
    def largest(self) -> PointComparison:
        """The point with the largest relative difference."""
        return max(self.points, key=lambda point: abs(point.difference_rel))

    @property
    def half_range_rel(self) -> Fraction:
        """Half the range of the relative differences over the points."""
        shares = [point.difference_rel for point in self.points]
        return (max(shares) - min(shares)) / 2


def compare(
    points: Sequence[Readings],
    confidence: Decimal = Decimal("0.95"),
    *,
    pairing: str = "by_run",
    weighting: str = "plain",
    resolution: Decimal | None = None,
) -> SetupComparison:
    """Compare two set-ups at all points.

    Parameters
    ----------
    points : sequence of Readings
        At least one.
    confidence : Decimal
        Of all tests and intervals, between 0 and 1.
    pairing : str
        "by_run" pairs readings of one run where both set-ups have the same runs, "none" pairs none.
    weighting : str
        "plain", or "force_squared", which makes the effect the slope of the difference over the
        force through zero.
    resolution : Decimal, optional
        Smallest step of the reading, in its unit.

    Returns
    -------
    SetupComparison

    Raises
    ------
    FieldError
        If a point is at zero force, a set-up has no reading there, or `common_U` is larger than a U
        that it is part of; `field` points below `points`.
    """
    for place, point in enumerate(points):
        _check(point, place)
    compared = tuple(_compare_point(point, confidence, pairing == "by_run") for point in points)
    weights = [_weight(point, weighting) for point in points]
    shares = [point.difference_rel for point in compared]
    over_points = paired_t(shares, confidence, weights=weights)
    over_runs = _over_runs(points, weights, confidence, pairing == "by_run")
    basis, significant = _decided(compared, over_runs, over_points, resolution)
    mean = weighted_mean(shares, weights)
    return SetupComparison(compared, mean, over_runs, over_points, basis, significant)


def normalized_error(
    difference: Fraction, U1: Decimal, U2: Decimal, common_U: Decimal, k: Decimal
) -> NormalizedError:
    """Return E_n of a difference of two values with expanded uncertainties.

    E_n = |d|/sqrt(U1^2 + U2^2) with U at k = 2, less what both have in common (ISO/IEC 17043:2010,
    B.3.1.3; ISO 13528; from memory, verify).

    Parameters
    ----------
    difference : Fraction
        Of the two values, in the unit of U.
    U1, U2 : Decimal
        Expanded uncertainties at `k`.
    common_U : Decimal
        What both hold of the same reference, at `k`.
    k : Decimal
        Coverage factor, above 0; U is taken to k = 2.

    Returns
    -------
    NormalizedError

    Examples
    --------
    >>> normalized_error(Fraction(10), Decimal(6), Decimal(8), Decimal(0), Decimal(2))
    NormalizedError(value=Decimal('1'), exceeds=False, reason=None)
    """
    U_squared = difference_variance(U1, U2, common_U, k) * 4
    if not U_squared:
        return NormalizedError(None, None, "the stated uncertainties leave nothing to compare with")
    squared = difference * difference / U_squared
    return NormalizedError(square_root(ratio(squared, _ONE)), squared > 1)


def difference_variance(U1: Decimal, U2: Decimal, common_U: Decimal, k: Decimal) -> Fraction:
    """Return the variance of the difference of two values, without what they have in common."""
    total = Fraction(U1) ** 2 + Fraction(U2) ** 2 - 2 * Fraction(common_U) ** 2
    return total / Fraction(k) ** 2


def _check(point: Readings, place: int) -> None:
    if not point.applied:
        raise FieldError(
            f"/points/{place}/applied",
            "at zero force there is no relative difference; leave the point out",
        )
    for name, readings in (("usual", point.usual), ("other", point.other)):
        if not readings:
            raise FieldError(f"/points/{place}/{name}", "needs the reading of at least one run")
    if any(U is not None and point.common_U > U for U in (point.usual_U, point.other_U)):
        raise FieldError(
            f"/points/{place}/common_U", "is part of both uncertainties and cannot be larger"
        )


def _compare_point(point: Readings, confidence: Decimal, by_run: bool) -> PointComparison:
    usual = [Fraction(reading) for reading in point.usual.values()]
    other = [Fraction(reading) for reading in point.other.values()]
    if by_run and point.usual.keys() == point.other.keys():
        runs = sorted(point.usual)
        differences = [Fraction(point.other[r]) - Fraction(point.usual[r]) for r in runs]
        test = paired_t(differences, confidence)
    else:
        test = welch_t(usual, other, confidence)
    error = None
    if point.usual_U is not None and point.other_U is not None:
        error = normalized_error(test.mean, point.usual_U, point.other_U, point.common_U, point.k)
    means = [weighted_mean(group, [_ONE] * len(group)) for group in (usual, other)]
    return PointComparison(point.applied, means[0], means[1], test, error)


def _over_runs(
    points: Sequence[Readings], weights: Sequence[Fraction], confidence: Decimal, by_run: bool
) -> TTest | None:
    """Test one mean over the points from each run; None where a run misses a point."""
    usual, other = points[0].usual.keys(), points[0].other.keys()
    if any(point.usual.keys() != usual or point.other.keys() != other for point in points):
        return None

    def means(setup: str, runs: list[int]) -> list[Fraction]:
        by_point = [point.shares(setup, runs) for point in points]
        return [weighted_mean(one_run, weights) for one_run in zip(*by_point, strict=True)]

    first, second = means("usual", sorted(usual)), means("other", sorted(other))
    if by_run and usual == other:
        differences = [after - before for before, after in zip(first, second, strict=True)]
        return paired_t(differences, confidence)
    return welch_t(first, second, confidence)


def _decided(
    points: Sequence[PointComparison],
    over_runs: TTest | None,
    over_points: TTest,
    resolution: Decimal | None,
) -> tuple[str | None, bool | None]:
    """Return what decides whether the set-up matters, and whether it does."""
    if over_runs is not None and over_runs.t is not None:
        return "runs", over_runs.significant
    identical = all(point.test.standard_uncertainty == 0 for point in points)
    if identical and all(point.difference == 0 for point in points):
        return "runs", False
    if identical and resolution is not None:
        return "resolution", any(abs(point.difference) > resolution for point in points)
    if over_points.t is not None:
        return "points", over_points.significant
    exceeds = [
        point.normalized_error.exceeds
        for point in points
        if point.normalized_error is not None and point.normalized_error.exceeds is not None
    ]
    return ("E_n", any(exceeds)) if exceeds else (None, None)


def _weight(point: Readings, weighting: str) -> Fraction:
    return Fraction(point.applied) ** 2 if weighting == "force_squared" else _ONE
