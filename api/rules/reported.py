"""Numbers as a certificate reports them, for rules that decide on these and not on all digits.

Choice: a decision is made on unrounded numbers unless its rule states the other convention: U is
rounded up to two digits at most and the value, half to even, to the same place, as they are
reported; then limits, guard band, ratios, risks and verdict are those of the rounded numbers, so
that whoever holds the certificate can make the decision again (ASTM E29 tells the two conventions
apart as absolute and rounding method, from memory). The tolerance limits are never rounded.

Not checked: that the certificate prints the same digits.
"""

from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction

from api.rules.exact import Number, ratio, reported_uncertainty

UNROUNDED, REPORTED = "unrounded", "reported"
# What a rule may decide on.
CONVENTIONS = (UNROUNDED, REPORTED)
_PLACES = Context(prec=2_000, rounding=ROUND_HALF_EVEN)


def reported_U(U: Number) -> Decimal:
    """Return an expanded uncertainty as it is reported.

    >>> reported_U(Fraction(1, 3)), reported_U(Decimal("0.2"))
    (Decimal('0.34'), Decimal('0.2'))
    """
    return reported_uncertainty(U if isinstance(U, Decimal) else ratio(U, Decimal(1)))


def place_of(U: Decimal) -> int | None:
    """Return the exponent of the last place of a reported U; None where U is 0.

    >>> place_of(Decimal("0.34")), place_of(Decimal("1.2E+3"))
    (-2, 2)
    """
    return int(U.as_tuple().exponent) if U else None


def rounded_to(value: Number, place: int | None) -> Number:
    """Return a value rounded half to even to a place; as it is where there is none.

    >>> rounded_to(Decimal("10.045"), -2), rounded_to(Fraction(2, 3), -2)
    (Decimal('10.04'), Decimal('0.67'))
    """
    if place is None:
        return value
    step = Decimal((0, (1,), place))
    if isinstance(value, Decimal):
        return value.quantize(step, context=_PLACES)
    return _PLACES.multiply(Decimal(round(value / Fraction(step))), step)


def as_reported(value: Number, U: Number) -> tuple[Number, Decimal]:
    """Return value and U as they are reported.

    >>> as_reported(Decimal("10.01234"), Decimal("0.0123"))
    (Decimal('10.012'), Decimal('0.013'))
    """
    rounded = reported_U(U)
    return rounded_to(value, place_of(rounded)), rounded
