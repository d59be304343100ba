"""By which k is u multiplied? So that the interval covers the stated probability.

Choice: Student's t of the effective degrees of freedom cut down to a whole number (JCGM 100:2008,
G.3 and G.6.4), the normal distribution where they are infinite, or k as stated. 68.27, 95.45 and
99.73 % mean the probabilities of the normal k = 1, 2 and 3, so that k is exactly that (JCGM
100:2008, table G.2, from memory). Where one rectangle or trapezoid outweighs the rest, or two
rectangles together (a trapezoid), these k are too large; on request k comes from the density of
that trapezoid convolved with the rest, which is taken as normal, or as a scaled t of its own
effective degrees of freedom (EA-4/02 M:2022, S9.14 and S10.13, from memory, take the trapezoid
alone). It is never done unasked; an answer says where it would make a difference.

k has an absolute error of about 1e-9. Not checked: that the rest is normal.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import erf, sqrt

import numpy as np
from scipy.special import ndtr, ndtri, stdtr, stdtrit

from api.rules.exact import FieldError, from_float
from api.rules.risk import Floats
from api.rules.roots import bracketed_root
from api.rules.uncertainty.budget import Combined, Component, effective_dof
from api.rules.uncertainty.correlation import Correlations
from api.rules.uncertainty.rounding import root

STUDENT, STATED, DOMINANT = "student", "stated", "dominant_rectangular"
METHODS = (STUDENT, STATED, DOMINANT)
USUAL_PROBABILITY = Decimal("95.45")
LEAST_PROBABILITY, MOST_PROBABILITY = Decimal(50), Decimal("99.9999")
# The rest is at most this share of the dominant component (EA-4/02, S9.14, from memory).
DOMINANCE = Decimal("0.3")

_NORMAL_K = {Decimal("68.27"): 1, Decimal("95.45"): 2, Decimal("99.73"): 3}
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
# Where the integrand bends, in standard deviations of the rest from the end of the interval.
_BENDS = np.array([0.0, 0.5, 1.5, 3.0, 6.0, 12.0, 40.0, 200.0])


@dataclass(frozen=True, slots=True)
class Trapezoid:
    """A symmetric trapezoid among the components.

    Attributes
    ----------
    names : tuple of str
        The component, or the two rectangles that make it.
    half_width : Fraction
        Half of its base, in the unit of the result.
    beta : Fraction
        Top over base: 1 is a rectangle, 0 a triangle.
    variance : Fraction
        In the square of that unit.
    """

    names: tuple[str, ...]
    half_width: Fraction
    beta: Fraction
    variance: Fraction


@dataclass(frozen=True, slots=True)
class Dominated:
    """A coverage factor from a density.

    Attributes
    ----------
    k : Decimal
        U/u, to about 1e-9.
    trapezoid : Trapezoid
        What the density is of.
    rest_ratio : Decimal
        u of the rest over u of the trapezoid.
    """

    k: Decimal
    trapezoid: Trapezoid
    rest_ratio: Decimal


def probability(percent: Decimal) -> float:
    """Return the probability that a percentage stands for.

    >>> round(probability(Decimal("95.45")), 7), probability(Decimal(95))
    (0.9544997, 0.95)
    """
    if percent in _NORMAL_K:
        return erf(_NORMAL_K[percent] / sqrt(2))
    return float(percent) / 100


def student_factor(percent: Decimal, dof: int | None) -> Decimal:
    """Return the k that covers so many percent of Student's t, or of the normal distribution.

    JCGM 100:2008, G.3; 68.27, 95.45 and 99.73 % are the normal k = 1, 2 and 3 exactly (table G.2,
    from memory).

    Parameters
    ----------
    percent : Decimal
        Coverage probability in percent, between 0 and 100.
    dof : int or None
        Degrees of freedom, 1 or more; None is infinitely many.

    Returns
    -------
    Decimal

    Examples
    --------
    >>> student_factor(Decimal("95.45"), None), round(student_factor(Decimal(99), 16), 2)
    (Decimal('2'), Decimal('2.92'))
    """
    if dof is None and percent in _NORMAL_K:
        return Decimal(_NORMAL_K[percent])
    upper = (1.0 + probability(percent)) / 2
    return from_float(float(ndtri(upper) if dof is None else stdtrit(float(dof), upper)))


def dominant(components: Sequence[Component], correlations: Correlations) -> Trapezoid | None:
    """Return the trapezoid that outweighs the rest by `DOMINANCE`, or None.

    The largest bounded component is tried, and the two largest rectangles together; where both
    outweigh the rest the one that leaves less of it, since the rest is taken as normal.

    Parameters
    ----------
    components : sequence of Component
        Those of the budget.
    correlations : Correlations
        Of these components.

    Returns
    -------
    Trapezoid or None
    """
    total = sum((one.variance for one in components), Fraction(0))
    free = [one for i, one in enumerate(components) if _bounded(one) and _alone(i, correlations)]
    free.sort(key=lambda one: one.variance, reverse=True)
    flat = [one for one in free if one.standard.beta == 1]
    tried = [_trapezoid(some) for some in (free[:1], flat[:2]) if some]
    least = Fraction(DOMINANCE) ** 2
    found = [one for one in tried if total - one.variance <= least * one.variance]
    return max(found, key=lambda one: one.variance, default=None)


def named_trapezoid(
    components: Sequence[Component], correlations: Correlations, names: Sequence[str], place: str
) -> Trapezoid:
    """Return the trapezoid of the components of these names.

    Parameters
    ----------
    components : sequence of Component
        Those of the budget.
    correlations : Correlations
        Of these components.
    names : sequence of str
        One component, or two rectangles.
    place : str
        JSON pointer for errors.

    Returns
    -------
    Trapezoid

    Raises
    ------
    FieldError
        Unless it is one bounded component or two rectangles, uncorrelated.
    """
    known = {one.name: i for i, one in enumerate(components)}
    for name in names:
        if name not in known:
            raise FieldError(place, f"no component is named {name}; known: {', '.join(known)}")
        if not _bounded(components[known[name]]):
            raise FieldError(place, f"{name} has no rectangle or trapezoid; name one that has")
        if not _alone(known[name], correlations):
            raise FieldError(place, f"{name} is correlated with another component; name others")
    some = [components[known[name]] for name in dict.fromkeys(names)]
    if len(some) > 2 or (len(some) == 2 and any(one.standard.beta != 1 for one in some)):
        raise FieldError(place, "a trapezoid is one component or two rectangles; name those")
    return _trapezoid(some)


def dominated_factor(
    percent: Decimal, trapezoid: Trapezoid, combined: Combined, rest: Sequence[Component]
) -> Dominated:
    """Return k = U/u from the density of a trapezoid convolved with the rest.

    EA-4/02 M:2022, S9.14 and S10.13 (from memory) take the trapezoid alone.

    Parameters
    ----------
    percent : Decimal
        Coverage probability in percent.
    trapezoid : Trapezoid
        Not of width 0.
    combined : Combined
        Of all components; the joint variance of the rest is its variance less the trapezoid's.
    rest : sequence of Component
        The other components.

    Returns
    -------
    Dominated
    """
    variance, dof = rest_of(trapezoid, combined, rest)
    a = float(trapezoid.half_width)
    sigma = float(root(variance)) / a
    reach = half_interval(
        probability(percent), float(trapezoid.beta), sigma, None if dof is None else float(dof)
    )
    ratio = root(variance / trapezoid.variance)
    return Dominated(from_float(reach * a / float(combined.u)), trapezoid, ratio)


def rest_of(
    trapezoid: Trapezoid, combined: Combined, rest: Sequence[Component]
) -> tuple[Fraction, Fraction | None]:
    """Return the joint variance of the rest and its effective degrees of freedom.

    Parameters
    ----------
    trapezoid, combined, rest : Trapezoid, Combined, sequence of Component
        As for `dominated_factor`.

    Returns
    -------
    tuple of (Fraction, Fraction or None)
    """
    variance = max(combined.variance - trapezoid.variance, Fraction(0))
    return variance, effective_dof([(one.variance, one.standard.dof) for one in rest])


def half_interval(p: float, beta: float, sigma: float, dof: float | None = None) -> float:
    """Return y with P(|X + R| <= y) = p for X on [-1, 1], trapezoidal, and R of deviation sigma.

    Parameters
    ----------
    p : float
        A probability.
    beta : float
        Top over base of the trapezoid, 0 to 1.
    sigma : float
        Standard deviation of R, 0 or more.
    dof : float, optional
        R is sigma times Student's t of so many degrees of freedom; normal unless given.

    Returns
    -------
    float

    Examples
    --------
    >>> round(half_interval(0.95, 1.0, 0.0), 12), round(half_interval(0.95, 0.0, 0.0), 6)
    (0.95, 0.776393)
    """
    if sigma == 0.0:
        flat = p * (1.0 + beta) / 2.0
        return flat if flat <= beta else 1.0 - sqrt((1.0 - p) * (1.0 - beta * beta))
    upper = (1.0 + p) / 2
    tail = float(ndtri(upper) if dof is None else stdtrit(dof, upper))

    def excess(y: Floats, rows: object) -> Floats:
        return np.array([_covered(float(one), beta, sigma, dof) - p for one in y])

    return float(bracketed_root(excess, np.zeros(1), np.array([1.0 + sigma * tail]))[0])


def _covered(y: float, beta: float, sigma: float, dof: float | None) -> float:
    """Return P(|X + R| <= y): the density of X times what R adds, integrated piece by piece."""
    bends = np.concatenate([y + sigma * _BENDS, y - sigma * _BENDS, [0.0, beta, 1.0]])
    edges = np.unique(np.clip(bends, 0.0, 1.0))
    half = np.diff(edges)[:, None] / 2.0
    x = edges[:-1, None] + half * (1.0 + _NODES)
    slope = (1.0 - x) / (1.0 - beta) if beta < 1.0 else 1.0
    density = np.where(x <= beta, 1.0, slope) / (1.0 + beta)
    inside = _cdf((y - x) / sigma, dof) - _cdf((-y - x) / sigma, dof)
    return float((2.0 * half * _WEIGHTS * density * inside).sum())


def _cdf(z: Floats, dof: float | None) -> Floats:
    return np.asarray(ndtr(z) if dof is None else stdtr(dof, z))


def _bounded(component: Component) -> bool:
    width = component.standard.half_width
    return width is not None and bool(width * component.factor)


def _alone(i: int, correlations: Correlations) -> bool:
    return not any(r and i in pair for pair, r in correlations.pairs.items())


def _trapezoid(some: Sequence[Component]) -> Trapezoid:
    names = tuple(one.name for one in some)
    variance = sum((one.variance for one in some), Fraction(0))
    widths = [abs((one.standard.half_width or Fraction(0)) * one.factor) for one in some]
    if len(some) == 1:
        return Trapezoid(names, widths[0], some[0].standard.beta or Fraction(0), variance)
    base = sum(widths, Fraction(0))
    return Trapezoid(names, base, abs(widths[0] - widths[1]) / base, variance)
