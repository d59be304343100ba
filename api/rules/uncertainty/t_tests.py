"""Is a mean difference more than its scatter? Student's t, paired or not, with exact inputs.

Choice: means and variances are exact rationals, so identical differences have a scatter of exactly
zero and are told apart from small ones; roots have 50 digits, quantiles of t come from scipy.
Without scatter there is no t, and the answer says why instead of dividing by zero.

Not checked: that the values are normally distributed and independent, or that many tests on one
set of readings will show a chance difference now and then.

Sources: JCGM 100:2008, 4.2 (type A evaluation), G.3 and G.4 (Student's t, Welch-Satterthwaite).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from scipy.special import ndtr, stdtr, stdtrit

from api.rules.exact import exact_arithmetic, from_float, ratio, shortened, square_root

NO_SCATTER = "every run gives the same difference: no scatter to compare the mean with"
TOO_FEW = "a single value has no scatter"


@dataclass(frozen=True, slots=True)
class TTest:
    """A mean difference with what its scatter says of it.

    Attributes
    ----------
    method : str
        "paired_t" or "welch_t".
    mean : Fraction
        Mean difference, in the unit of the values.
    values : int
        How many there were.
    standard_uncertainty : Decimal or None
        Of the mean; None where there are too few values.
    dof : Decimal or None
        Degrees of freedom.
    t : Decimal or None
        Mean over its standard uncertainty; None without scatter.
    p_value : float or None
        Two-sided.
    lower, upper : Decimal or None
        Confidence interval of the mean.
    significant : bool or None
        Whether p is below 1 less the confidence.
    reason : str or None
        Why there is no t.
    """

    method: str
    mean: Fraction
    values: int
    standard_uncertainty: Decimal | None = None
    dof: Decimal | None = None
    t: Decimal | None = None
    p_value: float | None = None
    lower: Decimal | None = None
    upper: Decimal | None = None
    significant: bool | None = None
    reason: str | None = None


def paired_t(
    differences: Sequence[Fraction],
    confidence: Decimal,
    *,
    weights: Sequence[Fraction] | None = None,
    method: str = "paired_t",
) -> TTest:
    """Test whether differences, taken pair by pair, have a mean of zero.

    With weights w the variance of a difference is taken to go with 1/w: the mean is that of least
    squares, its variance sum w (d - mean)^2 / ((n - 1) sum w).

    Parameters
    ----------
    differences : sequence of Fraction
        At least one.
    confidence : Decimal
        Between 0 and 1.
    weights : sequence of Fraction, optional
        One for each difference, above 0; all 1 unless given.
    method : str
        What the answer calls it.

    Returns
    -------
    TTest

    Examples
    --------
    >>> found = paired_t([Fraction(1), Fraction(2), Fraction(3)], Decimal("0.95"))
    >>> found.mean, round(found.t, 4), found.dof
    (Fraction(2, 1), Decimal('3.4641'), Decimal('2'))
    """
    shares = weights or [Fraction(1)] * len(differences)
    total = sum(shares, Fraction(0))
    mean = weighted_mean(differences, shares)
    count = len(differences)
    if count < 2:
        return TTest(method, mean, count, reason=TOO_FEW)
    squares = sum(
        (w * (d - mean) ** 2 for w, d in zip(shares, differences, strict=True)), Fraction(0)
    )
    return _judged(
        method, mean, count, squares / (count - 1) / total, Fraction(count - 1), confidence
    )


def welch_t(first: Sequence[Fraction], second: Sequence[Fraction], confidence: Decimal) -> TTest:
    """Test whether two independent groups differ in their means: second less first.

    The variances may differ; degrees of freedom after Welch and Satterthwaite (JCGM 100:2008, G.4).

    Parameters
    ----------
    first, second : sequence of Fraction
        At least one value each, in one unit.
    confidence : Decimal
        Between 0 and 1.

    Returns
    -------
    TTest
    """
    ones = Fraction(1)
    means = [weighted_mean(group, [ones] * len(group)) for group in (first, second)]
    mean, count = means[1] - means[0], len(first) + len(second)
    if min(len(first), len(second)) < 2:
        return TTest("welch_t", mean, count, reason=TOO_FEW)
    parts, below = [], Fraction(0)
    for group, middle in zip((first, second), means, strict=True):
        free = len(group) - 1
        part = sum(((value - middle) ** 2 for value in group), Fraction(0)) / free / len(group)
        parts.append(part)
        below += part * part / free
    variance = sum(parts, Fraction(0))
    dof = variance * variance / below if below else Fraction(count - 2)
    return _judged("welch_t", mean, count, variance, dof, confidence)


def weighted_mean(values: Sequence[Fraction], weights: Sequence[Fraction]) -> Fraction:
    """Return the mean, exactly."""
    total = sum(weights, Fraction(0))
    return sum((w * v for w, v in zip(weights, values, strict=True)), Fraction(0)) / total


def coverage_factor(dof: Decimal) -> Decimal:
    """Return the t that covers what k = 2 covers of a normal distribution: 95.45 %.

    Parameters
    ----------
    dof : Decimal
        Degrees of freedom, 1 or more.

    Returns
    -------
    Decimal
        15 digits.

    Examples
    --------
    >>> round(coverage_factor(Decimal(2)), 2)  # JCGM 100:2008, table G.2
    Decimal('4.53')
    """
    return from_float(float(stdtrit(float(dof), float(ndtr(2.0)))))


def _judged(
    method: str,
    mean: Fraction,
    count: int,
    variance: Fraction,
    dof: Fraction,
    confidence: Decimal,
) -> TTest:
    free = ratio(dof, Fraction(1))
    spread = square_root(ratio(variance, Fraction(1)))
    if not spread:
        return TTest(method, mean, count, spread, free, reason=NO_SCATTER)
    t = ratio(mean, Fraction(spread))
    p_value = 2.0 * float(stdtr(float(free), -abs(float(t))))
    reach = from_float(float(stdtrit(float(free), 0.5 + 0.5 * float(confidence))))
    with exact_arithmetic():
        middle, width = ratio(mean, Fraction(1)), reach * spread
        lower, upper = middle - width, middle + width
        significant = Decimal(p_value) < 1 - confidence
    return TTest(
        method,
        mean,
        count,
        spread,
        free,
        t,
        p_value,
        shortened(lower),
        shortened(upper),
        significant,
    )
