"""How is an uncertainty written? Digits, rounding up, and what is a rounding of what.

Choice: variances are exact rationals, so that a root is the only inexact step; it has 50 digits.
Answers carry 12 significant digits, half to even. A reported U is rounded up, to two significant
digits at most, from its 12 digits: the noise of a root must not lift it by a whole digit. The value
is rounded to the same place, half to even.

Not checked: that two digits suit the reader; one may be asked for.
"""

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, ROUND_UP, Context, Decimal
from fractions import Fraction
from math import isqrt

from api.rules.exact import Number, fifty_digits, plain, ratio, square_root

MOST_DIGITS = 2

_SHOWN = Context(prec=12, rounding=ROUND_HALF_EVEN)
_PLACES = Context(prec=1000, rounding=ROUND_HALF_EVEN)
_ROUNDINGS = (ROUND_UP, ROUND_HALF_UP, ROUND_HALF_EVEN)


def decimal(value: Number) -> Decimal:
    """Return a number as a Decimal: itself, or a quotient to 50 digits."""
    return value if isinstance(value, Decimal) else ratio(value, Fraction(1))


def root(value: Fraction) -> Decimal:
    """Return the square root of an exact variance, to 50 digits.

    >>> root(Fraction(9, 16))
    Decimal('0.75')
    """
    return square_root(decimal(value))


def rational_root(value: Fraction) -> Fraction:
    """Return the square root as a rational: exact where there is one, else of 50 digits.

    >>> rational_root(Fraction(1, 9))
    Fraction(1, 3)
    """
    over, under = isqrt(value.numerator), isqrt(value.denominator)
    if over * over == value.numerator and under * under == value.denominator:
        return Fraction(over, under)
    return Fraction(root(value))


def shortest(value: Decimal) -> Decimal:
    """Round to 50 digits and leave out the zeros at the end.

    >>> shortest(Decimal("0.0110"))
    Decimal('0.011')
    """
    return fifty_digits(value).normalize(_PLACES)


def twelve_digits(value: Number) -> Decimal:
    """Round to 12 significant digits, half to even; what is shorter stays as it is.

    >>> twelve_digits(Fraction(2, 3)), twelve_digits(Decimal("0.50"))
    (Decimal('0.666666666667'), Decimal('0.50'))
    """
    return _SHOWN.plus(decimal(value))


def text(value: Number) -> str:
    """Write a number in plain notation: at most 12 significant digits, no zeros at its end.

    >>> text(Fraction(1, 3)), text(Decimal("1.5E+3"))
    ('0.333333333333', '1500')
    """
    return plain(twelve_digits(value).normalize())


def rounded_up(U: Number, digits: int = MOST_DIGITS) -> Decimal:
    """Return U as it is reported: rounded up to so many significant digits, zeros included.

    Two at most: ILAC-P14:09/2020, 5.5 (from memory); always up is this project's choice (JCGM
    100:2008, 7.2.6 allows it).

    Parameters
    ----------
    U : Decimal or Fraction
        Expanded uncertainty, 0 or more.
    digits : int
        1 or 2.

    Returns
    -------
    Decimal

    Examples
    --------
    >>> rounded_up(Decimal("0.01234")), rounded_up(Decimal("0.01234"), 1)
    (Decimal('0.013'), Decimal('0.02'))
    >>> rounded_up(Decimal("0.1"))
    Decimal('0.10')
    """
    shown = twelve_digits(U)
    if not shown:
        return Decimal(0)
    rounded = Context(prec=digits, rounding=ROUND_UP).plus(shown)
    return rounded.quantize(Decimal((0, (1,), rounded.adjusted() - digits + 1)))


def to_match(value: Number, reported: Decimal) -> Decimal:
    """Return a value rounded, half to even, to the last place of its reported uncertainty.

    Parameters
    ----------
    value : Decimal or Fraction
        In the unit of the uncertainty.
    reported : Decimal
        As `rounded_up` gives it; 0 rounds nothing.

    Returns
    -------
    Decimal

    Examples
    --------
    >>> to_match(Decimal("10.01234"), Decimal("0.013"))
    Decimal('10.012')
    """
    return decimal(value).quantize(reported, context=_PLACES) if reported else decimal(value)


def is_rounding_of(sent: Decimal, U: Number) -> bool:
    """Say whether a number is U, or U rounded up or to nearest at the number's own last place.

    That place may not lie above the first digit of U, or 1 would be a rounding of 0.002. Zeros at
    the end of a whole number may be its places or not.

    Parameters
    ----------
    sent : Decimal
        The number that claims to be U.
    U : Decimal or Fraction
        Expanded uncertainty in the same unit.

    Returns
    -------
    bool

    Examples
    --------
    >>> [is_rounding_of(Decimal(text), Decimal("0.0123")) for text in ("0.013", "0.012", "0.014")]
    [True, True, False]
    """
    stated = twelve_digits(U)
    if not stated or not sent:
        return sent == stated
    last = int(sent.as_tuple().exponent)
    if last >= 0:
        last = int(sent.normalize(_PLACES).as_tuple().exponent)
    place = Decimal((0, (1,), min(last, stated.adjusted())))
    return any(stated.quantize(place, rounding=how, context=_PLACES) == sent for how in _ROUNDINGS)
