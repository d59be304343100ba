"""U at 95 %, and the test uncertainty ratio that is made of it.

Choice: the expanded uncertainty at 95 % is 2u, u = U/k, in TUR and in the bases that are made of
it. With degrees of freedom it is t u, t covering the same 95.45 % of Student's distribution (JCGM
100:2008, G.3; ANSI/NCSL Z540.3 defines TUR by the 95 % expanded uncertainty, from memory): 2u would
cover less, and claim a better ratio for a result that fewer readings support. A stated k that
covers 94.5 to 95.6 % already is the 95 % factor, and U is taken as it stands. The capability index
of JCGM 106:2012, 7.6, is defined by u itself and knows no degrees of freedom.

SciPy is imported where Student's t is read, and not before, as in `acceptance`.

Not checked: that U contains every contribution that the rule's author had in mind.
"""

from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from api.rules.exact import Number, difference_over, double, exact_arithmetic, from_float
from api.rules.limits import Limits

if TYPE_CHECKING:
    from api.rules.density import Density

# Rounded factors for 95 % and for 95.45 % both count as a factor for 95 %.
COVERAGE_95 = (0.945, 0.956)
# The normal distribution up to 2: what k = 2 covers on one side.
UP_TO_2 = 0.9772498680518208


def uncertainty_at_95(
    U: Number, k: Number, dof: float | None, density: "Density | None" = None
) -> tuple[Number, Number]:
    """Return U at 95 % as (numerator, denominator): t U / k, or U itself, see the module."""
    if density is not None:
        return _product(density.k_95, U), k
    if dof is None:
        return double(U), k
    from scipy.special import stdtr, stdtrit

    coverage = 1.0 - 2.0 * float(stdtr(dof, -float(k)))
    if COVERAGE_95[0] <= coverage <= COVERAGE_95[1]:
        return U, type(U)(1)
    return _product(from_float(float(stdtrit(dof, UP_TO_2))), U), k


def _product(factor: Decimal, U: Number) -> Number:
    if isinstance(U, Fraction):
        return Fraction(factor) * U
    with exact_arithmetic():
        return factor * U


def uncertainty_ratio(
    limits: Limits,
    U: Number,
    k: Number,
    dof: float | None = None,
    density: "Density | None" = None,
) -> Decimal | None:
    """Return the test uncertainty ratio, TUR = (T_U - T_L) / (2 U_95).

    Parameters
    ----------
    limits : Limits
        The tolerance limits.
    U, k : Decimal or Fraction
        Expanded uncertainty in the unit of the limits, and its coverage factor, above 0.
    dof : float, optional
        Degrees of freedom: U_95 is t u for them, or U itself where k is such a t already.
    density : Density, optional
        The shape of a result that is not normal, whose own 95.45 % U_95 then covers.

    Returns
    -------
    Decimal or None
        50 digits at most; None for one-sided limits or U = 0.

    Examples
    --------
    >>> uncertainty_ratio(Limits(Decimal("-0.5"), Decimal("0.5")), Decimal("0.125"), Decimal(2))
    Decimal('4')
    """
    if limits.lower is None or limits.upper is None or U == 0:
        return None
    U_95, divisor = uncertainty_at_95(U, k, dof, density)
    return difference_over(limits.upper, limits.lower, divisor, double(U_95))
