"""From an observed in-tolerance rate to the prior of a decision: what is known of such items.

Choice: the rate was observed with this measurement, so it already contains the measurement error;
the true spread is smaller (`solve.prior_from_reliability`). The sum is done in units of the
distance from the mean to the nearer limit, so that the unit of the numbers never changes a verdict;
the solved standard deviation has 15 digits.

Not checked: that the rate was observed on items like this one, with the same limits and the same U.
"""

from decimal import Decimal
from fractions import Fraction
from math import inf

from api.rules.acceptance import Prior
from api.rules.exact import FieldError, N, Number, coerce, exact_arithmetic, from_float, ratio
from api.rules.limits import Limits
from api.rules.solve import prior_from_reliability


def prior_from_observed(
    rate: Decimal, limits: Limits, U: Number, k: Number, mean: Number | None = None
) -> Prior:
    """Return the prior behind an observed rate of results inside `limits`.

    Parameters
    ----------
    rate : Decimal
        Share of results inside the limits, between 0 and 1.
    limits : Limits
        The limits that the rate was observed with.
    U : Decimal or Fraction
        Expanded uncertainty of the observations, 0 or more, in the unit of the limits.
    k : Decimal or Fraction
        Its coverage factor, above 0.
    mean : Decimal or Fraction, optional
        Mean of the items, in the unit of the limits; the middle of two limits unless given.

    Returns
    -------
    Prior
        Its sd has 15 digits.

    Raises
    ------
    FieldError
        With `/reliability` or `/mean`, where no prior explains the rate.

    Examples
    --------
    >>> found = prior_from_observed(Decimal("0.95"), Limits(Decimal(-1), Decimal(1)),
    ...                             Decimal("0.5"), Decimal(2))
    >>> found.mean, round(found.sd, 4)
    (Decimal('0.0'), Decimal('0.4448'))
    """
    given = (limits.lower, limits.upper, U, k, mean)
    with exact_arithmetic():
        if any(isinstance(number, Fraction) for number in given):
            return _prior(Fraction, rate, limits, U, k, mean)
        return _prior(Decimal, rate, limits, U, k, mean)


def _prior(
    number: type[N], rate: Decimal, limits: Limits, U: Number, k: Number, mean: Number | None
) -> Prior:
    lower = None if limits.lower is None else coerce(limits.lower, number)
    upper = None if limits.upper is None else coerce(limits.upper, number)
    if mean is not None:
        centre = coerce(mean, number)
    elif lower is not None and upper is not None:
        centre = (lower + upper) * coerce(Decimal("0.5"), number)
    else:
        raise FieldError("/mean", "a single limit needs the mean of the items as well")
    below = None if lower is None else centre - lower
    above = None if upper is None else upper - centre
    near = min(distance for distance in (below, above) if distance is not None)
    if near <= 0:
        raise FieldError("/mean", "the mean of the items must lie inside the limits")
    low, high = (inf if d is None else float(ratio(d, near)) for d in (below, above))
    u = float(ratio(coerce(U, number), coerce(k, number) * near))
    try:
        _, sd = prior_from_reliability(float(rate), -low, high, u, 0.0)
    except ValueError as error:
        raise FieldError("/reliability", str(error)) from None
    return Prior(centre, coerce(from_float(sd), number) * near)
