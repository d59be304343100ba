"""Exact numbers in, exact text out.

Sums, products and quotients are exact rationals. Only a square root may be irrational: it is then
carried with 50 significant digits, far beyond any recorded digit. Text is written in full where the
decimal ends and otherwise with 12 significant digits, rounded half to even.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from math import isqrt

DIGITS_OF_ROOT = 50
DIGITS_OF_TEXT = 12


def root(value: Fraction) -> tuple[Fraction, bool]:
    """Square root of a non-negative rational, and whether it is exact; else it has 50 digits.

    >>> root(Fraction("0.0025"))
    (Fraction(1, 20), True)
    """
    numerator, denominator = isqrt(value.numerator), isqrt(value.denominator)
    if numerator**2 == value.numerator and denominator**2 == value.denominator:
        return Fraction(numerator, denominator), True
    context = Context(prec=DIGITS_OF_ROOT)
    quotient = context.divide(Decimal(value.numerator), Decimal(value.denominator))
    return Fraction(context.sqrt(quotient)), False


def text(value: Fraction, *, exact: bool = True) -> str:
    """Plain decimal text; a value that is not exact is rounded however its decimal ends.

    >>> text(Fraction("-0.0150"))
    '-0.015'
    >>> text(Fraction(-2, 3))
    '-0.666666666667'
    >>> text(Fraction(10**6, 3))
    '333333.333333'
    """
    numerator, denominator = value.numerator, value.denominator
    if denominator == 1 and exact:
        return str(numerator)
    places = _places(denominator) if exact else None
    if places is None:
        context = Context(prec=DIGITS_OF_TEXT, rounding=ROUND_HALF_EVEN)
        rounded = context.divide(Decimal(numerator), Decimal(denominator))
        plain = format(rounded, "f")
        return plain.rstrip("0").rstrip(".") if "." in plain else plain
    digits = str(abs(numerator) * 10**places // denominator).rjust(places + 1, "0")
    return f"{'-' if numerator < 0 else ''}{digits[:-places]}.{digits[-places:]}"


def _places(denominator: int) -> int | None:
    """Digits after the point if the decimal ends, else None."""
    twos = (denominator & -denominator).bit_length() - 1
    rest = denominator >> twos
    fives = 0
    while rest % 5 == 0:
        rest //= 5
        fives += 1
    return max(twos, fives) if rest == 1 else None
