"""Risks: how probable it is that the item does not conform and the decision is wrong.

Choice: the measurand given the result is normal, or Student's t where degrees of freedom are
given (JCGM 106:2012, 6 and 7); the global risks take a normal prior and a normal measurement and
come from the bivariate normal distribution in Owen's T form (JCGM 106:2012, 9.5). Every function
takes floats or arrays and broadcasts them; an absent limit is infinite or NaN; a probability that
does not exist is NaN in an array, and the scalar layers write null for it.

The absolute error is about 1e-15. A global risk far below that is zero or noise, not relative
accuracy. Not checked: whether the prior describes the items that arrive.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, owens_t, stdtr

Floats = NDArray[np.float64]

# Of two normal tails at a and b the second is below half a unit in the last place of the first
# when b^2 - a^2 exceeds this: exp(-75/2) < 2^-54.
_NEGLIGIBLE = 75.0
# Joint risks are known to about 1e-16; a quotient by less than this would be noise.
_LEAST_ACCEPTED = 1e-12


class GlobalRisk(NamedTuple):
    """Joint risks of a calibration service (JCGM 106:2012, 9.5.2 and 9.5.3).

    `consumer` is P(does not conform and is accepted), `producer` P(conforms and is rejected),
    `accepted` P(accepted) and `consumer_given_accepted` the quotient consumer/accepted, NaN if
    next to nothing is accepted.
    """

    consumer: Floats
    producer: Floats
    consumer_given_accepted: Floats
    accepted: Floats


class Posterior(NamedTuple):
    """What is known of the item after the result: mean, standard deviation, P(nonconforming)."""

    mean: Floats
    sd: Floats
    risk: Floats


def specific_risk(
    y: ArrayLike, u: ArrayLike, lower: ArrayLike, upper: ArrayLike, dof: ArrayLike | None = None
) -> Floats:
    """Return the probability that an item with result y lies outside its limits.

    It is the specific consumer's risk of an accepted item (JCGM 106:2012, 9.3). y, u, lower and
    upper are in one unit, u is the standard uncertainty; with u = 0 the answer is 0 or 1, and a
    value on a limit is inside.

    >>> round(float(specific_risk(9.6, 0.2, -np.inf, 10.0)), 6)
    0.02275
    """
    return both_probabilities(y, u, lower, upper, dof)[0]


def conformance_probability(
    y: ArrayLike, u: ArrayLike, lower: ArrayLike, upper: ArrayLike, dof: ArrayLike | None = None
) -> Floats:
    """Return the probability p_c that an item with result y lies inside its limits.

    JCGM 106:2012, 7. Units as in `specific_risk`.

    >>> round(float(conformance_probability(-5.47, 0.05, -np.inf, -5.4)), 2)
    0.92
    """
    return both_probabilities(y, u, lower, upper, dof)[1]


def both_probabilities(
    y: ArrayLike, u: ArrayLike, lower: ArrayLike, upper: ArrayLike, dof: ArrayLike | None = None
) -> tuple[Floats, Floats]:
    """Return (specific_risk, conformance_probability); they add up to 1.

    The smaller one is made of tails, never as 1 minus a number near 1, so it keeps its relative
    accuracy far inside the limits and far outside.
    """
    below, above = _standardised(y, u, lower, upper)
    # Distance in u beyond the nearer limit and beyond the farther one; negative is inside.
    near, far = np.fmax(below, -above), np.minimum(below, -above)
    near_tail = _tail(-np.abs(near), dof)
    far_tail = _far_tail(near, far, dof)
    outside = near > 0.0
    small = np.where(outside, near_tail - far_tail, near_tail + far_tail)
    large = 1.0 - small
    return np.where(outside, large, small), np.where(outside, small, large)


def global_risk(
    lower: ArrayLike,
    upper: ArrayLike,
    acceptance_lower: ArrayLike,
    acceptance_upper: ArrayLike,
    prior_mean: ArrayLike,
    prior_sd: ArrayLike,
    u: ArrayLike,
) -> GlobalRisk:
    """Return the global risks of deciding by an acceptance interval, for a normal prior.

    All arguments are in one unit; u is the standard uncertainty of the measurement. An empty
    acceptance interval (lower above upper) accepts nothing. prior_sd = 0 and u = 0 are the limits
    of the formula, not errors.

    >>> risk = global_risk(-2.0, 2.0, -2.0, 2.0, 0.0, 1.0, 0.5)
    >>> round(float(risk.consumer), 9), round(float(risk.producer), 9)
    (0.012388749, 0.040526756)
    """
    arrays = (lower, upper, acceptance_lower, acceptance_upper, prior_mean, prior_sd, u)
    t_l, t_u, a_l, a_u, mean, sd, um = np.broadcast_arrays(
        *(np.asarray(array, dtype=np.float64) for array in arrays)
    )
    t_l, a_l = (np.where(np.isnan(limit), -np.inf, limit) for limit in (t_l, a_l))
    t_u, a_u = (np.where(np.isnan(limit), np.inf, limit) for limit in (t_u, a_u))
    exists = a_l <= a_u
    # The limits as seen from the prior mean; the kernel then needs no location.
    t_l, t_u, a_l, a_u = t_l - mean, t_u - mean, a_l - mean, a_u - mean
    conforming = _interval(t_l, t_u, sd)
    accepted = np.where(exists, _interval(a_l, a_u, np.hypot(sd, um)), 0.0)
    both = np.where(exists, _rectangle(t_l, t_u, a_l, a_u, sd, um), 0.0)
    both = np.clip(both, 0.0, np.minimum(conforming, accepted))
    consumer = accepted - both
    enough = accepted > _LEAST_ACCEPTED
    given = np.where(enough, consumer / np.where(enough, accepted, 1.0), np.nan)
    return GlobalRisk(consumer, conforming - both, given, accepted)


def posterior(
    prior_mean: ArrayLike,
    prior_sd: ArrayLike,
    y: ArrayLike,
    u: ArrayLike,
    lower: ArrayLike,
    upper: ArrayLike,
) -> Posterior:
    """Return the state of knowledge from a normal prior and a normal likelihood.

    JCGM 106:2012, 6.3: the means are weighted by the inverse variances. With prior_sd = u = 0 the
    result is believed.

    >>> tuple(round(float(x), 4) for x in posterior(0.0, 1.0, 1.0, 1.0, -1.0, 1.0))
    (0.5, 0.7071, 0.2567)
    """
    mean, sd, value, um = (
        np.asarray(array, dtype=np.float64) for array in (prior_mean, prior_sd, y, u)
    )
    spread = np.hypot(sd, um)
    safe = np.where(spread > 0.0, spread, 1.0)
    # Squares of quotients cannot overflow where squares of the spreads could.
    weight = np.where(spread > 0.0, (sd / safe) ** 2, 1.0)
    centre = (um / safe) ** 2 * mean + weight * value
    width = sd * (um / safe)
    return Posterior(centre, width, specific_risk(centre, width, lower, upper))


def _standardised(
    y: ArrayLike, u: ArrayLike, lower: ArrayLike, upper: ArrayLike
) -> tuple[Floats, Floats]:
    """Return (lower - y)/u and (upper - y)/u; for u = 0 they are infinite, on the limit inside."""
    value, um, t_l, t_u = (np.asarray(array, dtype=np.float64) for array in (y, u, lower, upper))
    below, above = t_l - value, t_u - value
    exact = um == 0.0
    # Infinity is the right distance for a spread that is small beyond measure.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if not exact.any():
            return below / um, above / um
        return (
            np.where(exact, np.where(below > 0.0, np.inf, -np.inf), below / um),
            np.where(exact, np.where(above < 0.0, -np.inf, np.inf), above / um),
        )


def _far_tail(near: Floats, far: Floats, dof: ArrayLike | None) -> Floats:
    """Return the tail beyond the farther limit, 0 where that limit is absent."""
    if dof is not None:
        return np.where(np.isnan(far), 0.0, _tail(far, dof))
    with np.errstate(invalid="ignore", over="ignore"):
        counts = np.asarray((far - near) * (far + near) < _NEGLIGIBLE)
    tail = np.zeros(counts.shape)
    tail[counts] = ndtr(np.asarray(far)[counts])
    return tail


def _tail(z: Floats, dof: ArrayLike | None) -> Floats:
    """Return P(Z <= z): normal, or Student's t in the rows that have degrees of freedom."""
    if dof is None:
        return np.asarray(ndtr(z))
    nu = np.asarray(dof, dtype=np.float64)
    usual = np.isnan(nu) | np.isinf(nu)
    student = stdtr(np.where(usual, 1.0, nu), z)
    # stdtr has no value at infinity in some releases of scipy; the normal tail is exact there.
    return np.where(usual | np.isinf(z), ndtr(z), student)


def _interval(low: Floats, high: Floats, sd: Floats) -> Floats:
    """Return P(low <= X <= high) for X normal about 0, the point mass where sd is 0."""
    return conformance_probability(0.0, sd, low, high)


def _rectangle(
    t_l: Floats, t_u: Floats, a_l: Floats, a_u: Floats, sd: Floats, um: Floats
) -> Floats:
    """Return P(t_l <= X <= t_u and a_l <= X + E <= a_u), X and E normal about 0 with sd and um."""
    fixed, exact = sd == 0.0, um == 0.0
    # Rows without prior spread or without measurement error have no correlation; they are done
    # apart, and get harmless spreads here.
    s, e = np.where(fixed, 1.0, sd), np.where(exact, 1.0, um)
    joint = (
        _quadrant(t_u, a_u, s, e)
        - _quadrant(t_l, a_u, s, e)
        - _quadrant(t_u, a_l, s, e)
        + _quadrant(t_l, a_l, s, e)
    )
    if not (fixed.any() or exact.any()):
        return joint
    inside = (t_l <= 0.0) & (t_u >= 0.0)
    joint = np.where(fixed, np.where(inside, _interval(a_l, a_u, um), 0.0), joint)
    low, high = np.maximum(t_l, a_l), np.minimum(t_u, a_u)
    overlap = np.where(low <= high, _interval(low, high, sd), 0.0)
    return np.where(exact & ~fixed, overlap, joint)


def _quadrant(x: Floats, y: Floats, s: Floats, e: Floats) -> Floats:
    """Return P(X <= x and X + E <= y): the bivariate normal distribution by two Owen's T.

    The slopes are written in x - y, not in the correlation, which loses all digits as e/s -> 0.
    """
    # Slopes may be infinite: T is then a quarter of the tail, which is what they tend to.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        v, h, k = e / s, x / s, y / np.hypot(s, e)
        a_h = (y - x) / e / h
        a_k = ((x - y) / e + np.where(h == 0.0, 0.0, h * v)) / (y / s)
    bounded = np.isfinite(x) & np.isfinite(y)
    unbounded = np.where(np.isposinf(y), ndtr(h), ndtr(k))
    unbounded = np.where(np.isneginf(x) | np.isneginf(y), 0.0, unbounded)
    h, k = np.where(bounded, h, 1.0), np.where(bounded, k, 1.0)
    # On an axis the slope is infinite, towards the other argument, and T is a quarter.
    a_h = np.where(h == 0.0, np.copysign(np.inf, y), np.where(bounded, a_h, 0.0))
    a_k = np.where(k == 0.0, np.copysign(np.inf, x), np.where(bounded, a_k, 0.0))
    # Signs, because a product of two small numbers would vanish.
    sides = np.sign(h) * np.sign(k)
    apart = (sides < 0.0) | ((sides == 0.0) & (h + k < 0.0))
    half = 0.5 * (ndtr(h) + ndtr(k)) - np.where(apart, 0.5, 0.0)
    value = half - owens_t(h, a_h) - owens_t(k, a_k)
    # Both zero: Sheppard's orthant formula, with the correlation 1/sqrt(1 + v^2) as an angle.
    origin = (h == 0.0) & (k == 0.0)
    value = np.where(origin, 0.5 - np.arctan(v) / (2.0 * np.pi), value)
    return np.where(bounded, value, unbounded)
