"""Floats that stand for short decimals: which decimals were meant, and what is their exact sum.

Choice: a float stands for the shortest decimal that reads back as it. If the columns of a sum have
few places behind the point, the sum has no more than they, and of all floats only the one nearest
to it is a decimal with so few places near the calculated sum. So 0.1 + 0.2 is 0.3 again. Columns
of more than 15 digits are left as calculated, within a unit in the last place.

Not checked: that the column was written by somebody who meant decimals.
"""

from collections.abc import Mapping
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import numpy as np
from numpy.typing import NDArray

from api.rules.exact import Number, inwards, twelve_inwards
from api.rules.kernel import LIMITS, Columns, Mask
from api.rules.risk import Floats
from api.rules.rule import Guard

# Products up to here are exact in floats, and neighbours in the last place are not yet one float.
_MOST_DIGITS = 1e15
_PLACES = 15
_SAMPLE = 64
_HALF = Decimal("0.5")
# Digits of a solved limit that are given; what a product with a power of ten is off by, of itself.
_PRINTED = 12
_NOISE = 4 * np.finfo(np.longdouble).eps

# Of extended precision, where the machine has it.
Long = NDArray[np.longdouble]


def exact_factors(guard: Guard) -> tuple[Decimal, ...] | None:
    """Return what a guard band multiplies U or the interval by, or adds; None if w has no end.

    >>> exact_factors(Guard("tolerance", share=Decimal("0.2"))), exact_factors(Guard("rds"))
    ((Decimal('0.10'),), None)
    """
    if guard.basis == "none":
        return (Decimal(0),)
    if guard.share is not None:
        return (guard.share * _HALF,)
    return guard.width if guard.factor is None else (guard.factor,)


def acceptance_texts(
    guard: Guard | None, lower: Number | None, upper: Number | None
) -> tuple[str | None, str | None]:
    """Return acceptance limits as they are given: never outside those that decided.

    In full where w has an end, else with 12 digits, rounded inwards.
    """
    solved = guard is not None and exact_factors(guard) is None
    write = twelve_inwards if solved else inwards
    return (
        None if lower is None else write(lower, ROUND_CEILING),
        None if upper is None else write(upper, ROUND_FLOOR),
    )


def solved_units(
    limits: Long, doubt: Long, still: Mask, rounding: str
) -> tuple[NDArray[np.int64], NDArray[np.int64], Mask]:
    """Return solved limits of one side as whole numbers of a power of ten, 12 digits at most.

    `doubt` bounds their error; those that are `still` are decimals that no guard band moved. With
    the numbers come the exponents, and the rows whose last digit is not sure, or that have none.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        exponents = np.floor(np.log10(np.abs(limits.astype(np.float64)))) - (_PRINTED - 1)
        exponents = np.where(np.isfinite(exponents), exponents, 0.0)
        scale = np.longdouble(10) ** -exponents
        units = limits * scale
        nearest = np.rint(units)
        # Of no more digits than are given.
        kept = still & (nearest / scale == limits)
        rounded = np.ceil(units) if rounding == ROUND_CEILING else np.floor(units)
        margin = doubt * scale + _NOISE * np.abs(units)
        sure = (np.abs(units - nearest) > margin) & (np.abs(rounded) >= 10.0 ** (_PRINTED - 1))
        sure |= kept
    found = np.where(sure, np.where(kept, nearest, rounded), 0)
    return found.astype(np.int64), exponents.astype(np.int64), ~sure


def decimal_places(number: Decimal) -> int:
    """Return how many digits a number has behind the point.

    >>> decimal_places(Decimal("0.50")), decimal_places(Decimal("1E+2"))
    (2, 0)
    """
    return max(0, -int(number.as_tuple().exponent))


def tidy_limits(found: Columns, given: Mapping[str, Floats], guard: Guard) -> None:
    """Replace acceptance limits by the floats nearest to the exact decimals, where there are such.

    `given` are the columns that the limits were calculated from.
    """
    factors = exact_factors(guard)
    counts = [float_places(column) for column in given.values()]
    if factors is None or None in counts:
        return
    most = max(count or 0 for count in counts) + max(map(decimal_places, factors))
    for name in LIMITS:
        found[name][:] = with_places(found[name], most)


def float_places(column: Floats) -> int | None:
    """Return how many places behind the point all numbers of a column need, None if too many.

    >>> float_places(np.array([0.25, 3.0, np.nan])), float_places(np.array([1 / 3]))
    (2, None)
    """
    few = column[:: max(1, len(column) // _SAMPLE)]
    least = next((count for count in range(_PLACES + 1) if _have(few, count)), _PLACES + 1)
    return next((count for count in range(least, _PLACES + 1) if _have(column, count)), None)


def with_places(column: Floats, count: int) -> Floats:
    """Return the decimals of so many places nearest to each number, as the floats next to them.

    >>> with_places(np.array([0.1 + 0.2]), 1).tolist()
    [0.3]
    """
    scaled = column * 10.0**count
    return np.where(np.abs(scaled) < _MOST_DIGITS, np.rint(scaled) / 10.0**count, column)


def _have(column: Floats, count: int) -> bool:
    present = column[~np.isnan(column)]
    few = (np.abs(present) * 10.0**count < _MOST_DIGITS).all()
    return bool(few and (with_places(present, count) == present).all())
