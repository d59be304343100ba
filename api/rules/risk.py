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
from scipy.special import ndtr, stdtr

from api.rules.bivariate import quadrant, usual_rectangle

Floats = NDArray[np.float64]

# Of two normal tails at a and b the second is below half a unit in the last place of the first
# when b^2 - a^2 exceeds this: exp(-75/2) < 2^-54.
_NEGLIGIBLE = 75.0
# Joint risks are known to about 1e-16; a quotient by less than this would be noise.
_LEAST_ACCEPTED = 1e-12


class GlobalRisk(NamedTuple):
    """Joint risks of a calibration service (JCGM 106:2012, 9.5.2 and 9.5.3).

    Probabilities, arrays in the shape to which the arguments broadcast.

    Attributes
    ----------
    consumer : ndarray of float64
        P(does not conform and is accepted).
    producer : ndarray of float64
        P(conforms and is rejected).
    consumer_given_accepted : ndarray of float64
        consumer/accepted, NaN if next to nothing is accepted.
    accepted : ndarray of float64
        P(accepted).
    """

    consumer: Floats
    producer: Floats
    consumer_given_accepted: Floats
    accepted: Floats


class Posterior(NamedTuple):
    """What is known of the item after the result.

    Attributes
    ----------
    mean, sd : ndarray of float64
        Mean and standard deviation, in the unit of the result.
    risk : ndarray of float64
        Probability that the item does not conform.
    """

    mean: Floats
    sd: Floats
    risk: Floats


def specific_risk(
    y: ArrayLike, u: ArrayLike, lower: ArrayLike, upper: ArrayLike, dof: ArrayLike | None = None
) -> Floats:
    """Return the probability that an item with result y lies outside its limits.

    It is the specific consumer's risk of an accepted item (JCGM 106:2012, 9.3). With u = 0 the
    answer is 0 or 1, and a value on a limit is inside.

    Parameters
    ----------
    y, u : array_like
        Result and standard uncertainty, 0 or more, in one unit.
    lower, upper : array_like
        The limits in the same unit; infinite or NaN where absent.
    dof : array_like, optional
        Degrees of freedom, NaN or infinite for the normal distribution, which holds unless given.

    Returns
    -------
    ndarray of float64
        In the shape to which the arguments broadcast.

    Examples
    --------
    >>> round(float(specific_risk(9.6, 0.2, -np.inf, 10.0)), 6)
    0.02275
    """
    return both_probabilities(y, u, lower, upper, dof)[0]


def conformance_probability(
    y: ArrayLike, u: ArrayLike, lower: ArrayLike, upper: ArrayLike, dof: ArrayLike | None = None
) -> Floats:
    """Return the probability p_c that an item with result y lies inside its limits.

    JCGM 106:2012, 7.

    Parameters
    ----------
    y, u, lower, upper, dof : array_like
        As in `specific_risk`.

    Returns
    -------
    ndarray of float64
        In the shape to which the arguments broadcast.

    Examples
    --------
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
    degrees = np.nan if dof is None else dof
    below, above, nu = np.broadcast_arrays(-below, above, np.asarray(degrees, dtype=np.float64))
    inner, outer = np.fmin(below, above).reshape(-1), np.maximum(below, above).reshape(-1)
    found = split(inner, outer, None if dof is None else nu.reshape(-1))
    return found[0].reshape(nu.shape), found[1].reshape(nu.shape)


def split(
    inner: Floats, outer: Floats, dof: Floats | None = None, work: Floats | None = None
) -> tuple[Floats, Floats]:
    """Return `both_probabilities` for results whose distances from their limits are known.

    Arrays of one dimension: `inner` is the distance from the nearer limit in units of u, negative
    outside the limits, `outer` that from the farther limit, NaN where there is none. `work` may be
    a 4 x n array to calculate in; the answers then lie in it.
    """
    near, one, two, small = np.empty((4, len(inner))) if work is None else work
    np.negative(np.abs(inner, out=near), out=near)
    if dof is None:
        ndtr(near, out=small)
        with np.errstate(invalid="ignore", over="ignore"):
            np.subtract(outer, inner, out=one)
            one *= np.add(outer, inner, out=two)
        rows = np.flatnonzero(one < _NEGLIGIBLE)
        far = ndtr(-outer[rows])
    else:
        small[:] = _tail(near, dof)
        rows = np.flatnonzero(~np.isnan(outer))
        far = _tail(-outer[rows], dof[rows])
    outside = inner < 0.0
    small[rows] += np.where(outside[rows], -far, far)
    # |0 - p| is p and |1 - p| is 1 - p: the small probability on its own side of the limit.
    risk, conforms = np.subtract(outside, small, out=one), np.subtract(~outside, small, out=two)
    return np.abs(risk, out=risk), np.abs(conforms, out=conforms)


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

    prior_sd = 0 and u = 0 are the limits of the formula, not errors.

    Parameters
    ----------
    lower, upper : array_like
        The tolerance limits; infinite or NaN where absent. All arguments are in one unit.
    acceptance_lower, acceptance_upper : array_like
        The acceptance limits; an empty interval (lower above upper) accepts nothing.
    prior_mean, prior_sd : array_like
        Mean and standard deviation of the items.
    u : array_like
        Standard uncertainty of the measurement.

    Returns
    -------
    GlobalRisk

    Examples
    --------
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

    Parameters
    ----------
    prior_mean, prior_sd : array_like
        Mean and standard deviation of the items. All arguments are in one unit.
    y, u : array_like
        Result and standard uncertainty.
    lower, upper : array_like
        The tolerance limits; infinite or NaN where absent.

    Returns
    -------
    Posterior

    Examples
    --------
    >>> tuple(round(float(x), 4) for x in posterior(0.0, 1.0, 1.0, 1.0, -1.0, 1.0))
    (0.5, 0.7071, 0.2567)
    """
    mean, sd, value, um = (
        np.asarray(array, dtype=np.float64) for array in (prior_mean, prior_sd, y, u)
    )
    spread = np.hypot(sd, um)
    safe = np.where(spread > 0.0, spread, 1.0)
    # Squares of quotients cannot overflow where squares of the spreads could.
    items, measurement = np.where(spread > 0.0, sd / safe, 1.0), um / safe
    # Products, because the power of an array and that of a single number differ in the last bit.
    centre = measurement * measurement * mean + items * items * value
    width = sd * measurement
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
    given = (t_l, t_u, a_l, a_u, sd, um)
    # Zero, infinity and what is nearly so need care; the others, nearly all, do not.
    with np.errstate(invalid="ignore", over="ignore", under="ignore"):
        product = np.abs(t_l * t_u * a_l * a_u * sd * um)
    usual = (product > 0.0) & (product < np.inf)
    if usual.all():
        return usual_rectangle(*given)
    joint = np.empty(usual.shape)
    joint[usual] = usual_rectangle(*(array[usual] for array in given))
    joint[~usual] = _unusual_rectangle(*(array[~usual] for array in given))
    return joint


def _unusual_rectangle(
    t_l: Floats, t_u: Floats, a_l: Floats, a_u: Floats, sd: Floats, um: Floats
) -> Floats:
    """Return `_rectangle` for any numbers."""
    fixed, exact = sd == 0.0, um == 0.0
    # Rows without prior spread or without measurement error have no correlation; they are done
    # apart, and get harmless spreads here.
    s, e = np.where(fixed, 1.0, sd), np.where(exact, 1.0, um)
    joint = (
        quadrant(t_u, a_u, s, e)
        - quadrant(t_l, a_u, s, e)
        - quadrant(t_u, a_l, s, e)
        + quadrant(t_l, a_l, s, e)
    )
    if not (fixed.any() or exact.any()):
        return joint
    inside = (t_l <= 0.0) & (t_u >= 0.0)
    joint = np.where(fixed, np.where(inside, _interval(a_l, a_u, um), 0.0), joint)
    low, high = np.maximum(t_l, a_l), np.minimum(t_u, a_u)
    overlap = np.where(low <= high, _interval(low, high, sd), 0.0)
    return np.where(exact & ~fixed, overlap, joint)
