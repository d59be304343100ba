"""Exact numbers in, exact text out.

Recorded numbers are decimals, and sums and products of decimals end: they are worked out as
Decimals in a context that refuses to round. What does not end (a quotient) is a Fraction. Only a
square root may be irrational: it is then carried with 50 significant digits, far beyond any
recorded digit. Text is written in full where the decimal ends and otherwise with 12 significant
digits, rounded half to even.
"""

from __future__ import annotations

from decimal import (
    ROUND_HALF_EVEN,
    Context,
    Decimal,
    DivisionByZero,
    Inexact,
    InvalidOperation,
    Overflow,
)
from fractions import Fraction
from math import isqrt

# An exact number: a Decimal, or a Fraction whose decimal does not end.
Exact = Decimal | Fraction

DIGITS_OF_ROOT = 50
DIGITS_OF_TEXT = 12
# A decimal that ends within so many places is worked with as a Decimal; sums and products of a few
# of them and of recorded numbers fit the digits of EXACT.
MOST_PLACES = 150
EXACT = Context(prec=1_000, traps=[InvalidOperation, DivisionByZero, Overflow, Inexact])
_ROOT = Context(prec=DIGITS_OF_ROOT, traps=[InvalidOperation])
_TEXT = Context(prec=DIGITS_OF_TEXT, rounding=ROUND_HALF_EVEN)
# Taken out once: to find a method of a context takes as long as the sum itself.
plus, times = EXACT.add, EXACT.multiply
# The quotient of two Decimals as `ratio` gives it.
divided = _TEXT.divide


def ended(value: Fraction) -> Exact:
    """The same number as a Decimal if its decimal ends soon enough, else as it is.

    >>> ended(Fraction(3, 8)), ended(Fraction(1, 3))
    (Decimal('0.375'), Fraction(1, 3))
    """
    places = _places(value.denominator)
    if places is None or places > MOST_PLACES:
        return value
    return EXACT.scaleb(Decimal(value.numerator * 10**places // value.denominator), -places)


def root(value: Exact) -> tuple[Exact, bool]:
    """Square root of a non-negative number, and whether it is exact; else it has 50 digits.

    >>> root(Decimal("0.0025"))
    (Decimal('0.05'), True)
    >>> root(Fraction(1, 3))[1]
    False
    """
    if isinstance(value, Fraction):
        numerator, denominator = isqrt(value.numerator), isqrt(value.denominator)
        if numerator**2 == value.numerator and denominator**2 == value.denominator:
            return Fraction(numerator, denominator), True
        return _ROOT.sqrt(_quotient(value, _ROOT)), False
    context = _ROOT.copy()
    context.clear_flags()
    return context.sqrt(value), not context.flags[Inexact]


def text(value: Exact, *, exact: bool = True) -> str:
    """Return plain decimal text of a number.

    Parameters
    ----------
    value : Decimal or Fraction
        In full where its decimal ends, else 12 significant digits, half to even.
    exact : bool
        False for a rounded value, which gets 12 digits however its decimal ends.

    Returns
    -------
    str

    Examples
    --------
    >>> text(Decimal("-0.0150")), text(Fraction("-0.0150")), text(Decimal("1E+3"))
    ('-0.015', '-0.015', '1000')
    >>> text(Fraction(-2, 3)), text(Fraction(10**6, 3))
    ('-0.666666666667', '333333.333333')
    """
    if not isinstance(value, Decimal):
        places = _places(value.denominator) if exact else None
        if places:
            return _in_full(value, places)
        value = Decimal(value.numerator) if places == 0 else _quotient(value, _TEXT)
    elif not exact:
        value = _TEXT.plus(value)
    if not value:
        return "0"
    plain = str(value)
    if "E" in plain:
        plain = format(value, "f")
    if plain[-1] == "0" and "." in plain:
        plain = plain.rstrip("0").rstrip(".")
    return plain


def ratio(numerator: Exact, denominator: Exact) -> Decimal:
    """Quotient of two numbers with at most 12 significant digits, for comparing sizes.

    >>> ratio(Decimal("0.03"), Decimal("0.08")), ratio(Decimal(2), Fraction(3))
    (Decimal('0.375'), Decimal('0.666666666667'))
    """
    if isinstance(numerator, Decimal) and isinstance(denominator, Decimal):
        return divided(numerator, denominator)
    return _quotient(Fraction(numerator) / Fraction(denominator), _TEXT)


def _in_full(value: Fraction, places: int) -> str:
    digits = str(abs(value.numerator) * 10**places // value.denominator).rjust(places + 1, "0")
    return f"{'-' if value < 0 else ''}{digits[:-places]}.{digits[-places:]}"


def _quotient(value: Fraction, context: Context) -> Decimal:
    return context.divide(Decimal(value.numerator), Decimal(value.denominator))


def _places(denominator: int) -> int | None:
    """Digits after the point if the decimal ends, else None."""
    twos = (denominator & -denominator).bit_length() - 1
    rest = denominator >> twos
    fives = 0
    while rest % 5 == 0:
        rest //= 5
        fives += 1
    return max(twos, fives) if rest == 1 else None
