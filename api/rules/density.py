"""The density of a result that is not normal: a trapezoid that outweighs the rest of its budget.

Choice: a rectangle (a coarse resolution, limits alone) or a trapezoid (two of them), convolved with
a rest that is normal or a scaled Student's t, as `coverage` finds it in a budget (EA-4/02 M:2022,
S9 and S10, from memory, for the trapezoid). Only its shape is kept: beta, the top of the trapezoid
over its base, and u of the rest over u of the trapezoid. Its size is that of u = U/k, so that a
density needs no unit. Probabilities are sums of tails, as for the normal distribution, and U at
95 % is half of the symmetric interval that covers 95.45 % of this density.

Not checked: that the trapezoid is that of the result.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from math import isinf, sqrt

import numpy as np
from scipy.special import ndtr, stdtr

from api.rules.exact import FieldError, from_float, shortened, square_root
from api.rules.risk import Floats
from api.rules.roots import bracketed_root
from api.rules.uncertainty.coverage import USUAL_PROBABILITY, half_interval, probability

NORMAL, RECTANGULAR, TRAPEZOID = "normal", "rectangular", "trapezoid"
KINDS = (NORMAL, RECTANGULAR, TRAPEZOID)
# A rest with so much more weight makes the result normal.
MOST_REST = 10
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
# Where the integrand bends, in standard deviations of the rest.
_BENDS = np.array([0.0, 0.5, 1.5, 3.0, 6.0, 12.0, 40.0, 200.0])
# No density of unit variance has anything beyond this that a probability shows.
_FAR = 400.0


@dataclass(frozen=True, slots=True)
class Density:
    """The shape of a result's density.

    Parameters
    ----------
    beta : Decimal
        Top over base of the trapezoid: 1 is a rectangle, 0 a triangle.
    rest_over_dominant : Decimal
        u of the rest over u of the trapezoid, 0 or more; 0 for the trapezoid alone.
    rest_dof : Decimal, optional
        Degrees of freedom of the rest, 1 or more; infinitely many unless given.

    Raises
    ------
    FieldError
        If a number is out of range.

    Examples
    --------
    A rectangle of half-width sqrt(3) has u = 1; a value 1 inside one limit:

    >>> round(Density().probabilities(-float("inf"), 1.0)[0], 6)  # (sqrt(3) - 1)/(2 sqrt(3))
    0.211325
    """

    beta: Decimal = Decimal(1)
    rest_over_dominant: Decimal = Decimal(0)
    rest_dof: Decimal | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.beta <= 1:
            raise FieldError("/density/beta", "not from 0 to 1; give the top over the base")
        if not 0 <= self.rest_over_dominant <= MOST_REST:
            raise FieldError(
                "/density/rest_over_dominant",
                f"not from 0 to {MOST_REST}; a rest that is larger makes the result normal",
            )
        if self.rest_dof is not None and not self.rest_dof >= 1:
            raise FieldError("/density/rest_dof", "below 1; leave it out where it is infinite")

    @property
    def words(self) -> str:
        """What it is, in words."""
        shape = "a rectangle" if self.beta == 1 else f"a trapezoid (beta {self.beta:.4g})"
        return shape if not self.rest_over_dominant else f"{shape} convolved with the rest"

    def to_mapping(self) -> dict[str, str]:
        """Return the JSON form.

        Returns
        -------
        dict of str to str
        """
        kind = RECTANGULAR if self.beta == 1 else TRAPEZOID
        found = {"kind": kind, "beta": f"{self.beta:f}"}
        found["rest_over_dominant"] = f"{self.rest_over_dominant:f}"
        return found if self.rest_dof is None else found | {"rest_dof": f"{self.rest_dof:f}"}

    def probabilities(self, below: float, above: float) -> tuple[float, float]:
        """Return (specific risk, conformance probability) from the distances to the limits.

        Parameters
        ----------
        below, above : float
            (T_L - y)/u and (T_U - y)/u, infinite where there is no limit.

        Returns
        -------
        tuple of float
            They add up to 1; the smaller one is made of tails.
        """
        near, far = max(below, -above), min(below, -above)
        small, other = self.tail(-abs(near)), self.tail(far)
        if near > 0.0:
            small -= other
            return 1.0 - small, small
        small += other
        return small, 1.0 - small

    def tail(self, z: float) -> float:
        """Return the probability of lying below z, in units of u about the result.

        Parameters
        ----------
        z : float
            Any number, infinite too.

        Returns
        -------
        float
        """
        if isinf(z) or (abs(z) > _FAR and self.rest_dof is None):
            return 0.0 if z < 0 else 1.0
        half_width, sigma = self._scale
        beta = float(self.beta)
        if z > 0.0:
            return 1.0 - _below(-z / half_width, beta, sigma, self._dof)
        return _below(z / half_width, beta, sigma, self._dof)

    def widened(self, growth: Fraction) -> "Density | None":
        """Return the shape where a normal contribution has joined the rest.

        Parameters
        ----------
        growth : Fraction
            Square of the new u over the square of the old one, 1 or more.

        Returns
        -------
        Density or None
            None where the rest is so large that the result is normal.
        """
        rest = Fraction(self.rest_over_dominant) ** 2
        wider = growth * (1 + rest) - 1
        ratio = shortened(square_root(Decimal(shortened(wider))))
        if ratio > MOST_REST:
            return None
        dof = self.rest_dof
        if dof is not None:
            dof = shortened(Fraction(dof) * (wider / rest) ** 2) if rest else None
        return Density(self.beta, ratio, dof)

    @property
    def k_95(self) -> Decimal:
        """U at 95.45 % over u, to 15 digits."""
        return _factor(self)

    def band(self, target: float, width: float) -> float | None:
        """Return w/u so that a result on an acceptance limit has the specific risk `target`.

        Parameters
        ----------
        target : float
            A probability, from 1e-9 to below 1.
        width : float
            The tolerance interval over u, infinite for a single limit.

        Returns
        -------
        float or None
            None where even a result in the middle has a greater risk.
        """

        def excess(bands: Floats, rows: object) -> Floats:
            risks = [self.probabilities(float(one) - width, float(one))[0] for one in bands]
            return np.array(risks) - target

        high = _FAR if isinf(width) else width / 2.0
        if excess(np.array([high]), None)[0] > 0.0:
            return None
        return float(bracketed_root(excess, np.array([-_FAR]), np.array([high]))[0])

    @property
    def _scale(self) -> tuple[float, float]:
        """Half-width of the trapezoid in units of u, and u of the rest in units of that."""
        beta, rest = float(self.beta), float(self.rest_over_dominant)
        over_half = sqrt((1.0 + beta * beta) / 6.0)
        return 1.0 / (over_half * sqrt(1.0 + rest * rest)), rest * over_half

    @property
    def _dof(self) -> float | None:
        return None if self.rest_dof is None else float(self.rest_dof)


@lru_cache(maxsize=1024)
def _factor(density: Density) -> Decimal:
    half_width, sigma = density._scale  # its own shape, worked out once
    covered = probability(USUAL_PROBABILITY)
    return from_float(half_width * half_interval(covered, float(density.beta), sigma, density._dof))


def _below(z: float, beta: float, sigma: float, dof: float | None) -> float:
    """Return P(X + R <= z) for z <= 0, X a trapezoid on [-1, 1], R of scale sigma."""
    if sigma == 0.0:
        return _trapezoid_below(z, beta)
    bends = np.concatenate([z + sigma * _BENDS, z - sigma * _BENDS, [-1.0, -beta, beta, 1.0]])
    edges = np.unique(np.clip(bends, -1.0, 1.0))
    half = np.diff(edges)[:, None] / 2.0
    x = edges[:-1, None] + half * (1.0 + _NODES)
    slope = (1.0 - np.abs(x)) / (1.0 - beta) if beta < 1.0 else 1.0
    density = np.where(np.abs(x) <= beta, 1.0, slope) / (1.0 + beta)
    reached = (z - x) / sigma
    return float(
        (half * _WEIGHTS * density * (ndtr(reached) if dof is None else stdtr(dof, reached))).sum()
    )


def _trapezoid_below(z: float, beta: float) -> float:
    """Return the share of a trapezoid on [-1, 1] below z <= 0."""
    if z <= -1.0:
        return 0.0
    if z <= -beta:
        return (z + 1.0) ** 2 / (2.0 * (1.0 - beta) * (1.0 + beta))
    return ((1.0 - beta) / 2.0 + z + beta) / (1.0 + beta)
