"""In which zone a value lies, and which zones an interval of values can reach.

Choice: limits are compared on unrounded exact numbers, and equality is inside (JCGM 106:2012,
3.3.5: limits belong to the interval). With four zones an edge belongs to the better zone. Nothing
here needs a risk, so that a recall judges without NumPy and SciPy.

Not checked: that value, limits and acceptance limits are in the same unit.
"""

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from api.rules.acceptance import Acceptance
from api.rules.exact import Number, exact_arithmetic
from api.rules.limits import Limits
from api.rules.rule import NO_STATEMENT

# The zones, best first, of which two zones know the first and the last; and what is no zone: the
# rule makes no statement, because its precondition does not hold.
ZONES: tuple[str, ...] = ("pass", "conditional_pass", "conditional_fail", "fail")
VERDICTS: tuple[str, ...] = (*ZONES, NO_STATEMENT)
# Those of results outside the limit of acceptance. A missing statement is no nonconformity.
FAILING = ZONES[2:]
# From best to worst for several results together. Where nothing is stated for one of them, that all
# conform cannot be stated either; a nonconformity that is stated for another one stays one.
_TOGETHER = (*ZONES[:2], NO_STATEMENT, *FAILING)


def verdict(value: Number, limits: Limits, acceptance: Acceptance, zones: int) -> str:
    """Return the zone of `value`: `pass` or `fail`, with four zones also the conditional ones.

    Parameters
    ----------
    value : Decimal or Fraction
        The result, unrounded, in the unit of the limits.
    limits : Limits
        The tolerance limits.
    acceptance : Acceptance
        The acceptance limits; equality is inside.
    zones : int
        2 or 4.

    Returns
    -------
    str
        One of ZONES.

    Examples
    --------
    >>> limits = Limits(Decimal(9), Decimal(11))
    >>> band = Acceptance(Decimal("9.2"), Decimal("10.8"), Decimal("0.2"), Decimal("0.2"))
    >>> [verdict(Decimal(y), limits, band, 4) for y in ("10.8", "11", "11.2", "11.3")]
    ['pass', 'conditional_pass', 'conditional_fail', 'fail']
    """
    if not acceptance.empty and _between(value, acceptance.lower, acceptance.upper):
        return "pass"
    if zones == 2:
        return "fail"
    if _between(value, limits.lower, limits.upper):
        return "conditional_pass"
    return "conditional_fail" if _between(value, *_outer(limits, acceptance)) else "fail"


def worst(verdicts: Iterable[str]) -> str:
    """Return the worst of one or more verdicts: what is stated of all results together.

    A result without statement is worse than one that passes, on condition too, and better than one
    that fails: conformity of all is not stated, and a nonconformity that was found is not hidden
    (ISO/IEC 17025:2017, 7.8.6.2: the statement names the results that it covers).

    Parameters
    ----------
    verdicts : iterable of str
        Members of VERDICTS, at least one.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If there is none, or one is not in VERDICTS.

    Examples
    --------
    >>> worst(["pass", "conditional_fail", "conditional_pass"])
    'conditional_fail'
    >>> worst(["pass", "no_statement"]), worst(["no_statement", "fail"])
    ('no_statement', 'fail')
    """
    return max(verdicts, key=_TOGETHER.index)


def breakpoints(limits: Limits, acceptance: Acceptance, zones: int) -> tuple[Number, ...]:
    """Return the values, ascending, at which the verdict can change.

    Parameters
    ----------
    limits : Limits
        The tolerance limits.
    acceptance : Acceptance
        The acceptance limits.
    zones : int
        2 or 4.

    Returns
    -------
    tuple of Decimal or Fraction
        In the unit of the limits, each once.

    Examples
    --------
    >>> limits = Limits(None, Decimal(11))
    >>> [str(x) for x in breakpoints(limits, Acceptance(None, Decimal(10), None, Decimal(1)), 4)]
    ['10', '11', '12']
    """
    edges: list[Number | None] = []
    if not acceptance.empty:
        edges += [acceptance.lower, acceptance.upper]
    if zones == 4:
        edges += [limits.lower, limits.upper, *_outer(limits, acceptance)]
    return tuple(sorted({edge for edge in edges if edge is not None}))


def reachable(
    lower: Number, upper: Number, limits: Limits, acceptance: Acceptance, zones: int
) -> tuple[str, ...]:
    """Return every verdict that a value in the closed interval can have, best first.

    Parameters
    ----------
    lower, upper : Decimal or Fraction
        The ends of the interval, in the unit of the limits.
    limits : Limits
        The tolerance limits.
    acceptance : Acceptance
        The acceptance limits.
    zones : int
        2 or 4.

    Returns
    -------
    tuple of str
        Members of ZONES.

    Raises
    ------
    ValueError
        If lower is above upper.

    Examples
    --------
    >>> limits = Limits(Decimal(9), Decimal(11))
    >>> band = Acceptance(Decimal(9), Decimal(11), Decimal(0), Decimal(0))
    >>> reachable(Decimal(11), Decimal("11.1"), limits, band, 2)
    ('pass', 'fail')
    """
    if lower > upper:
        raise ValueError("lower must not be above upper")
    start, end = Fraction(lower), Fraction(upper)
    edges = {Fraction(edge) for edge in breakpoints(limits, acceptance, zones)}
    marks = sorted({start, end, *(edge for edge in edges if start <= edge <= end)})
    # Between two neighbouring edges the verdict is constant: one inner point stands for all.
    inner = [(left + right) / 2 for left, right in pairwise(marks)]
    found = {verdict(point, limits, acceptance, zones) for point in (*marks, *inner)}
    return tuple(name for name in ZONES if name in found)


def _between(value: Number, lower: Number | None, upper: Number | None) -> bool:
    return (lower is None or value >= lower) and (upper is None or value <= upper)


def _outer(limits: Limits, acceptance: Acceptance) -> tuple[Number | None, Number | None]:
    """Return T_L - w and T_U + w, beyond which a result fails without condition."""
    lower, upper = limits.lower, limits.upper
    return (
        None if lower is None else moved(lower, acceptance.guard_lower, -1),
        None if upper is None else moved(upper, acceptance.guard_upper, 1),
    )


def moved(limit: Number, band: Number | None, sign: int) -> Number:
    """Return limit + sign * band, exactly; a band of None moves nothing."""
    if band is None:
        return limit
    if isinstance(limit, Decimal) and isinstance(band, Decimal):
        with exact_arithmetic():
            return limit + sign * band
    return Fraction(limit) + sign * Fraction(band)
