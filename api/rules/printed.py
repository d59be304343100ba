"""Numbers as a statement prints them: rounded by U, probabilities in percent.

A reported U has two significant digits (JCGM 100:2008, 7.2.6); other quantities are given two
places below the last of U, so that the sentence shows what was decided.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Context, Decimal

from api.rules.exact import Number, plain, ratio, shortened
from api.rules.reported import reported_U

# A reported U has two significant digits; other quantities are given so many places below them.
_BELOW_U = 2
_PLACES = Context(prec=1000)
# No quantity needs more: roots have fifty digits.
LEAST_PLACE = -2000
# k is no quantity of the specification, and a solved one has no end.
_FACTOR = Context(prec=7, rounding=ROUND_HALF_EVEN)


def percent(probability: float) -> str:
    """Write a probability in percent, with two digits.

    >>> percent(0.0227501), percent(1e-9)
    ('2.3 %', 'below 0.0001 %')
    """
    if probability < 1e-6:
        return "below 0.0001 %"
    if probability > 1 - 1e-6:
        return "above 99.9999 %"
    if probability > 0.99:
        # As many digits as show how far it is from certain.
        return f"{plain(Decimal(100) - Decimal(f'{(1 - probability) * 100:.2g}'))} %"
    return f"{plain(Decimal(f'{probability * 100:.2g}'))} %"


def place_of(U: Number) -> int:
    """Return the exponent of the last place that is printed beside this uncertainty."""
    if U == 0:
        return LEAST_PLACE
    return reported_U(U).adjusted() - 1 - _BELOW_U


def quantity(value: Number, unit: str | None, place: int) -> str:
    """Return a number rounded up at a place, with its unit."""
    text = plain(rounded(value, place, ROUND_CEILING))
    return f"{text} {unit}" if unit else text


def uncertainty(U: Number, unit: str | None, place: int) -> str:
    """Write U as it is reported and, where that is another number, as it decided."""
    reported, used = reported_U(U), rounded(shortened(U), place, ROUND_CEILING)
    text = quantity(reported, unit, place)
    return text if used == reported else f"{text} (rounded up from {quantity(used, unit, place)})"


def rounded(value: Number, place: int, rounding: str) -> Decimal:
    """Round to a place; a number that has no digits below it keeps those that it has."""
    number = _decimal(value)
    exponent = int(number.as_tuple().exponent)
    if exponent >= place:
        return number
    return number.quantize(Decimal((0, (1,), place)), rounding, _PLACES)


def _decimal(value: Number) -> Decimal:
    """Return a number as a decimal, a quotient to 50 digits."""
    return value if isinstance(value, Decimal) else ratio(value, Decimal(1))


def factor_text(k: Number) -> str:
    """Return k, a solved one with seven digits."""
    number = _decimal(k)
    return plain(number if isinstance(k, Decimal) and len(plain(k)) <= 10 else _FACTOR.plus(number))
