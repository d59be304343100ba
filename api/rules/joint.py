"""Several results together: how probable it is that at least one value does not conform.

Choice: the total specific consumer's risk is the probability, given all results, that at least one
value lies outside its limits (JCGM 106:2012, 9.3, for each; the EURACHEM/CITAC and IUPAC/CITAC
guides on conformity of several components, from memory, for all). Independent results multiply
their probabilities of conforming. Correlated ones share one normal cause: value i is
y_i + u_i (l_i Z + sqrt(1 - l_i^2) E_i) with independent standard normal Z and E_i, so that i and j
are correlated by l_i l_j. A reference standard common to all results is such a cause; given Z the
values are independent, and the integral over Z has one dimension whatever the number of results.

The total global risk, of items that arrive with the stated priors, is given for independent results
only: P(all accepted) - P(all accepted and all conform), both products.

Not checked: that nothing else than the one cause is shared.
"""

from collections.abc import Sequence
from math import exp, expm1, inf, log1p, prod
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from api.rules.density import Density
from api.rules.risk import Floats
from api.rules.tails import probabilities

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
# Beyond this the common cause is rarer than 1e-32.
_REACH = 12.0
# Where a conditional probability bends, in units of its own spread about the limit.
_BENDS = np.array([-12.0, -6.0, -3.0, -1.5, -0.5, 0.0, 0.5, 1.5, 3.0, 6.0, 12.0])


class Distances(NamedTuple):
    """How far a result is from its limits, in units of its standard uncertainty.

    Attributes
    ----------
    below, above : float
        (T_L - y)/u and (T_U - y)/u, infinite where there is no limit or no uncertainty.
    dof : float or None
        Degrees of freedom; None is infinitely many.
    density : Density or None
        The shape of a result that is not normal.
    """

    below: float
    above: float
    dof: float | None = None
    density: Density | None = None

    @property
    def normal(self) -> bool:
        """Whether the result is normal."""
        return self.dof is None and self.density is None


class JointRisk(NamedTuple):
    """What several results say together; probabilities that add up to 1.

    Attributes
    ----------
    consumer : float
        That at least one value does not conform.
    conforming : float
        That all conform.
    """

    consumer: float
    conforming: float


def joint_risk(results: Sequence[Distances], loadings: Sequence[float] | None = None) -> JointRisk:
    """Return the total specific consumer's risk of several results.

    Parameters
    ----------
    results : sequence of Distances
        At least one.
    loadings : sequence of float, optional
        l_i from -1 to 1, what of u_i is of the common cause; independent unless given. Those of
        results with degrees of freedom must be 0.

    Returns
    -------
    JointRisk
        The smaller one keeps its relative accuracy where the results are independent; correlated
        ones are good to about 1e-14, and to about 1e-12 of the consumer's risk.

    Raises
    ------
    ValueError
        If there is no result, a loading is out of range, of another number, or of a result with
        degrees of freedom.

    Examples
    --------
    Two independent results that each conform with the probability 0.97725:

    >>> two = [Distances(-inf, 2.0), Distances(-inf, 2.0)]
    >>> round(joint_risk(two).consumer, 6)
    0.044983
    >>> round(joint_risk(two, [1.0, 1.0]).consumer, 6)
    0.02275
    """
    shares = [0.0] * len(results) if loadings is None else list(loadings)
    if not results or len(shares) != len(results):
        raise ValueError("results are needed, and a loading for each")
    if not all(-1.0 <= share <= 1.0 for share in shares):
        raise ValueError("a loading lies between -1 and 1")
    if any(share and not one.normal for share, one in zip(shares, results, strict=True)):
        raise ValueError("results with degrees of freedom or a density have no loading")
    alone = [one for share, one in zip(shares, results, strict=True) if not share]
    tied = [(share, one) for share, one in zip(shares, results, strict=True) if share]
    log_conforming = _log_independent(alone)
    if len(tied) == 1:
        log_conforming += _log_independent([tied[0][1]])
    elif tied:
        risk, conforms = _common(tied)
        log_conforming += log1p(-risk) if risk < 0.5 else _log(conforms)
    return JointRisk(-expm1(log_conforming), exp(log_conforming))


def total_global_risk(risks: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return (consumer's risk, accepted) of independent results that are accepted together.

    Parameters
    ----------
    risks : sequence of (float, float)
        Of each result the global consumer's risk and the probability that it is accepted.

    Returns
    -------
    tuple of float
        P(all are accepted and at least one does not conform), and P(all are accepted).

    Examples
    --------
    >>> tuple(round(x, 6) for x in total_global_risk([(0.01, 0.9), (0.01, 0.9)]))
    (0.0179, 0.81)
    """
    accepted = prod(one for _, one in risks)
    if not accepted:
        return 0.0, 0.0
    kept = sum(log1p(-consumer / one) if consumer < one else -inf for consumer, one in risks)
    return accepted * -expm1(kept), accepted


def _log(probability: float) -> float:
    return float(np.log(probability)) if probability > 0.0 else -inf


def _log_independent(results: Sequence[Distances]) -> float:
    """Return the logarithm of the probability that all conform, with the digits of the risks."""
    total = 0.0
    for one in results:
        if one.density is not None:
            risk, conforms = one.density.probabilities(one.below, one.above)
        else:
            risk, conforms = probabilities(one.below, one.above, one.dof)
        total += log1p(-risk) if risk < 0.5 else _log(conforms)
    return total


def _common(tied: Sequence[tuple[float, Distances]]) -> tuple[float, float]:
    """Return (risk, conforming) of results with a common cause: one integral over it."""
    share = np.array([share for share, _ in tied])
    below = np.array([one.below for _, one in tied])
    above = np.array([one.above for _, one in tied])
    spread = np.sqrt((1.0 - share) * (1.0 + share))
    z, weight = _nodes(share, spread, np.concatenate([below, above]))
    log_inside = np.zeros(z.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        for one, own, low, high in zip(share, spread, below, above, strict=True):
            log_inside += _log_conforms(low - one * z, high - one * z, own)
        density = weight * np.exp(-z * z / 2.0) / np.sqrt(2.0 * np.pi)
        return float(np.sum(density * -np.expm1(log_inside))), float(
            np.sum(density * np.exp(log_inside))
        )


def _log_conforms(low: Floats, high: Floats, spread: float) -> Floats:
    """Return log P(low <= spread E <= high), by the tails where they are small."""
    if spread == 0.0:
        return np.where((low <= 0.0) & (high >= 0.0), 0.0, -np.inf)
    a, b = low / spread, high / spread
    outside = ndtr(a) + ndtr(-b)
    # Far to one side the interval is a difference of two small tails.
    inside = np.where(a > 0.0, ndtr(-a) - ndtr(-b), ndtr(b) - ndtr(a))
    return np.where(outside < 0.5, np.log1p(-np.minimum(outside, 0.5)), np.log(inside))


def _nodes(share: Floats, spread: Floats, limits: Floats) -> tuple[Floats, Floats]:
    """Return nodes and weights for the common cause, dense where a limit bends the integrand."""
    centre = (limits.reshape(2, -1) / share)[..., None]
    bends = centre + (spread / np.abs(share))[None, :, None] * _BENDS
    usual = np.arange(-_REACH, _REACH + 0.25, 0.5)
    edges = np.concatenate([usual, bends[np.isfinite(bends)]])
    edges = np.unique(np.clip(edges, -_REACH, _REACH))
    half = np.diff(edges)[:, None] / 2.0
    z = edges[:-1, None] + half * (1.0 + _NODES)
    return z.ravel(), (half * _WEIGHTS).ravel()
