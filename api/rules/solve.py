"""Solved guard bands: how wide w must be for a target risk.

Choice: the solved quantity has no unit (w over the standard uncertainty), so that the verdict does
not depend on the unit of the numbers. Specific risk: the worst accepted result lies on an
acceptance limit; both tails count when there are two limits. Global risk: w is equal on both sides
and never negative; a target that simple acceptance already meets needs no guard band.

Not checked: whether the prior describes the items that arrive.
"""

from math import isfinite, isinf, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import erf, ndtr, ndtri, stdtrit

from api.rules.risk import Floats, global_risk, specific_risk
from api.rules.roots import Rows, bracketed_root


def band_for_specific_risk(
    target: float, tolerance_over_u: ArrayLike, dof: ArrayLike | None = None
) -> Floats:
    """Return w/u such that a result on an acceptance limit has the specific risk `target`.

    Parameters
    ----------
    target : float
        A probability, from 1e-9 to below 1.
    tolerance_over_u : array_like
        The full tolerance width over u, +inf for a single limit.
    dof : array_like, optional
        Degrees of freedom, NaN or infinite for the normal distribution, which holds unless given;
        broadcast to the shape of `tolerance_over_u`.

    Returns
    -------
    ndarray of float64
        In the shape of `tolerance_over_u`. NaN where even a result in the middle of the interval
        has a greater risk: no result can be accepted.

    Examples
    --------
    >>> float(band_for_specific_risk(0.05, np.inf).round(4))
    1.6449
    >>> float(band_for_specific_risk(0.05, 1.0))
    nan
    """
    width = np.atleast_1d(np.asarray(tolerance_over_u, dtype=np.float64))
    nu = None if dof is None else np.broadcast_to(np.asarray(dof, dtype=np.float64), width.shape)

    def excess(band: Floats, rows: Rows) -> Floats:
        degrees = None if nu is None else nu[rows]
        return specific_risk(0.0, 1.0, band - width[rows], band, degrees) - target

    band = -_quantile(target, nu, width)
    # The second tail only adds risk: the answer lies between that of one limit and the middle.
    middle = width / 2.0
    rows = np.flatnonzero(np.isfinite(width))
    closed = rows[excess(middle[rows], rows) > 0.0]
    rows = np.setdiff1d(rows, closed, assume_unique=True)
    rows = rows[excess(band[rows], rows) > 0.0]
    band[rows] = bracketed_root(lambda x, open_: excess(x, rows[open_]), band[rows], middle[rows])
    band[closed] = np.nan
    return band.reshape(np.shape(tolerance_over_u))


def band_for_global_risk(target: float, lower: ArrayLike, upper: ArrayLike, u: ArrayLike) -> Floats:
    """Return w such that the global consumer's risk equals `target`, or 0 where it is below.

    Parameters
    ----------
    target : float
        A probability, from 1e-9 to below 1.
    lower, upper : array_like
        The tolerance limits measured from the prior mean in units of the prior standard deviation;
        -inf or +inf where absent.
    u : array_like
        Standard uncertainty in the same units, above 0.

    Returns
    -------
    ndarray of float64
        In the same units and the shape to which the arguments broadcast.

    Examples
    --------
    >>> float(band_for_global_risk(0.01, -2.0, 2.0, 0.5).round(4))
    0.094
    """
    shape = np.broadcast_shapes(*map(np.shape, (lower, upper, u)))
    t_l, t_u, um = (
        np.broadcast_to(np.asarray(array, dtype=np.float64), shape).reshape(-1)
        for array in (lower, upper, u)
    )

    def excess(band: Floats, rows: Rows) -> Floats:
        low, high, error = t_l[rows], t_u[rows], um[rows]
        return global_risk(low, high, low + band, high - band, 0.0, 1.0, error).consumer - target

    band = np.zeros(um.shape)
    rows = np.arange(len(band))
    rows = rows[excess(band, rows) > 0.0]
    # An error beyond this band is rarer than the target; at half the width nothing is accepted.
    widest = np.minimum(um * np.maximum(-ndtri(target / 2.0), 1.0), (t_u - t_l) / 2.0)
    band[rows] = bracketed_root(lambda x, open_: excess(x, rows[open_]), band[rows], widest[rows])
    return band.reshape(shape)


def prior_from_reliability(
    observed_rate: float,
    lower: float,
    upper: float,
    u: float,
    mean: float | None = None,
) -> tuple[float, float]:
    """Return (mean, sd) of the items behind an observed in-tolerance rate.

    The observed rate already contains the measurement error, so the true spread is smaller: the
    observed variance less u^2.

    Parameters
    ----------
    observed_rate : float
        Share of results inside the limits, between 0 and 1.
    lower, upper : float
        The limits, infinite where absent. All arguments but the rate are in one unit.
    u : float
        Standard uncertainty of the observations.
    mean : float, optional
        Mean of the items; the middle of two limits unless given.

    Returns
    -------
    tuple of float
        Mean and standard deviation.

    Raises
    ------
    ValueError
        If no spread explains the rate, or the mean is not inside the limits.

    Examples
    --------
    >>> tuple(round(x, 4) for x in prior_from_reliability(0.95, -1.0, 1.0, 0.25))
    (0.0, 0.4448)
    """
    if not 0.0 < observed_rate < 1.0:
        raise ValueError("an observed rate must lie between 0 and 1")
    if mean is None:
        mean = (lower + upper) / 2.0
        if not isfinite(mean):
            raise ValueError("a single limit needs the mean of the items as well")
    if not lower < mean < upper:
        raise ValueError("the mean of the items must lie inside the limits")
    near, far = sorted((mean - lower, upper - mean))
    if isinf(far) and observed_rate <= 0.5:
        raise ValueError("with a single limit the observed rate must be above one half")
    spread = _observed_spread(observed_rate, near, far)
    if spread <= u:
        raise ValueError(
            "the measurement alone scatters more than the observed rate allows; check u"
        )
    return mean, sqrt((spread - u) * (spread + u))


def _observed_spread(rate: float, near: float, far: float) -> float:
    """Return the sd for which a value stays within -near and +far with probability `rate`."""
    if isinf(far):
        return float(-near / ndtri(1.0 - rate))
    # Both limits as near as the nearer one, and as far as the farther one, bound it. Where one of
    # the bounds is the root, rounding decides the sign there: hence twice as far each way.
    reach = -ndtri((1.0 - rate) / 2.0)
    low, high = near / reach / 2.0, far / reach * 2.0
    if rate > 0.5:  # or the tail of the nearer limit alone
        high = min(high, -near / ndtri(1.0 - rate) * 2.0)

    def excess(sd: Floats, rows: Rows) -> Floats:
        # The smaller of the two shares has the digits; each is a sum without cancellation.
        if rate > 0.5:
            return ndtr(-near / sd) + ndtr(-far / sd) - (1.0 - rate)
        return rate - (erf(near / sd / sqrt(2.0)) + erf(far / sd / sqrt(2.0))) / 2.0

    return float(bracketed_root(excess, np.array([low]), np.array([high]))[0])


def _quantile(probability: float, dof: Floats | None, like: Floats) -> Floats:
    normal = np.full_like(like, ndtri(probability))
    if dof is None:
        return normal
    usual = ~np.isfinite(dof)
    return np.where(usual, normal, stdtrit(np.where(usual, 1.0, dof), probability))
