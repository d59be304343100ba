"""Exact numbers: how digits survive from the request to the verdict.

Choice: Decimal where the numbers came as decimals, Fraction where they are quotients (a recall
divides), and never a binary float. Addition, subtraction and multiplication are exact: the working
context holds 1000 digits and refuses to round. Quotients, square roots, logarithms and
exponentials have no end in general; they are rounded once, to 50 digits, half to even.

Not checked here: whether a number makes sense as a force, only that it is finite.
"""

from decimal import (
    ROUND_HALF_EVEN,
    ROUND_UP,
    Context,
    Decimal,
    DivisionByZero,
    Inexact,
    InvalidOperation,
    Overflow,
    getcontext,
    localcontext,
    setcontext,
)
from fractions import Fraction
from typing import Any, TypeVar, cast

# An exact number.
Number = Decimal | Fraction
N = TypeVar("N", Decimal, Fraction)

_EXACT = Context(prec=1000, traps=[InvalidOperation, DivisionByZero, Overflow, Inexact])
_FIFTY = Context(prec=50, traps=[InvalidOperation, DivisionByZero, Overflow])
_REPORTED_DIGITS = 2
_TWO_UP = Context(prec=_REPORTED_DIGITS, rounding=ROUND_UP)
_PLACES = Context(prec=1000, rounding=ROUND_HALF_EVEN, traps=[InvalidOperation])

_LARGEST_EXPONENT = 1000
# What is printed of a number that has no end: as in recalls.
_PRINTED_DIGITS = 12
_LONGEST_IN_FULL = 34
_SHORT = Context(prec=_PRINTED_DIGITS, rounding=ROUND_HALF_EVEN)


class FieldError(ValueError):
    """A value that cannot be used.

    Parameters
    ----------
    field : str
        JSON pointer (RFC 6901) to it, empty for the whole.
    message : str
        What is wrong and, where it can be said, what to do.
    """

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


class exact_arithmetic:
    """Let + - * on Decimal be exact inside the block; raise FieldError where they cannot be.

    A class, because a generator costs as much as the arithmetic of a decision.
    """

    __slots__ = ("_before",)

    def __enter__(self) -> None:
        self._before = getcontext()
        setcontext(_EXACT)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: object
    ) -> None:
        setcontext(self._before)
        if isinstance(error, Inexact | Overflow):
            raise FieldError(
                "", "the numbers differ by a thousand decimal places or more; check exponents"
            ) from error


def finite(value: Number | int, name: str) -> Number:
    """Return `value` as Decimal or Fraction.

    Raises TypeError for a float, whose digits are not those that were written, and FieldError for
    a number that is NaN, infinite or has an exponent beyond 1000.

    >>> finite(3, "U")
    Decimal('3')
    """
    # Decimal first: asking for a Fraction, which has an abstract base, costs ten times as much.
    if isinstance(value, Decimal):
        number = value
    elif isinstance(value, Fraction):
        return value
    elif isinstance(value, bool) or not isinstance(value, int):
        raise TypeError(f"{name} must be a Decimal or a Fraction, not {type(value).__name__}")
    else:
        number = Decimal(value)
    if not number.is_finite():
        raise FieldError(f"/{name}", "must be a finite number")
    text = str(number)
    if len(text) < _LARGEST_EXPONENT and "E" not in text:
        return number  # all its places are written out, so they are few; this is the usual case
    exponent = number.as_tuple().exponent
    # A handful of characters must not become a million digits.
    if not isinstance(exponent, int) or max(-exponent, number.adjusted()) > _LARGEST_EXPONENT:
        raise FieldError(f"/{name}", "must have an exponent between -1000 and 1000")
    return number


def coerce(value: Number, number: type[N]) -> N:
    """Return `value` as the type `number`, exactly; a Fraction is never cut down to a Decimal."""
    if isinstance(value, number):
        return value
    if number is Decimal:
        raise TypeError("a Fraction has no exact Decimal; calculate with Fractions throughout")
    return number(cast(Any, value))


def ratio(numerator: Number, denominator: Number) -> Decimal:
    """Return numerator / denominator to 50 digits, the same for Decimals and Fractions.

    >>> ratio(Decimal(1), Decimal(4)) == ratio(Fraction(1, 8), Fraction(1, 2))
    True
    """
    if isinstance(numerator, Decimal) and isinstance(denominator, Decimal):
        return _FIFTY.divide(numerator, denominator)
    quotient = Fraction(numerator) / Fraction(denominator)
    return _FIFTY.divide(Decimal(quotient.numerator), Decimal(quotient.denominator))


def difference_over(
    minuend: Number, subtrahend: Number, factor: Number, divisor: Number
) -> Decimal:
    """Return (minuend - subtrahend) * factor / divisor, rounded once, to 50 digits.

    Decimals that fit the exact context spare the reduction of Fractions; the value is the same.

    >>> difference_over(Decimal(11), Decimal("10.8"), Decimal(2), Decimal("0.2"))
    Decimal('2')
    """
    if (
        isinstance(minuend, Decimal)
        and isinstance(subtrahend, Decimal)
        and isinstance(factor, Decimal)
        and isinstance(divisor, Decimal)
    ):
        try:
            product = _EXACT.multiply(_EXACT.subtract(minuend, subtrahend), factor)
            return _FIFTY.divide(product, divisor).normalize(_FIFTY)
        except (Inexact, Overflow):
            pass  # too far apart for a thousand digits, not for Fractions
    offset = Fraction(minuend) - Fraction(subtrahend)
    return ratio(offset * Fraction(factor), Fraction(divisor))


def double(value: Number) -> Number:
    """Return twice a number, exactly, whatever the surrounding decimal context is."""
    return _EXACT.add(value, value) if isinstance(value, Decimal) else value + value


def fifty_digits(value: Decimal) -> Decimal:
    """Round to 50 digits."""
    return _FIFTY.plus(value)


def square_root(value: Decimal) -> Decimal:
    """Return the square root to 50 digits."""
    return _FIFTY.sqrt(value)


def root_sum_square(values: list[Decimal]) -> Decimal:
    """Return the square root of the sum of squares; the sum is exact, the root has 50 digits."""
    with exact_arithmetic():
        total = sum((value * value for value in values), Decimal(0))
    return square_root(total)


def power(base: Decimal, exponent: Decimal) -> Decimal:
    """Return base ** exponent to 50 digits for base > 0."""
    return _FIFTY.power(base, exponent)


def exponential(value: Decimal) -> Decimal:
    """Return e ** value to 50 digits."""
    return _FIFTY.exp(value)


def from_float(value: float) -> Decimal:
    """Return a solved (hence rounded) float as a Decimal of 15 significant digits.

    >>> from_float(0.1 + 0.2)
    Decimal('0.3')
    """
    return Decimal(f"{value:.15g}")


def plain(value: Number) -> str:
    """Write a number without exponent: in full where it ends, else with 12 significant digits.

    A Decimal keeps its own digits; one longer than 34 digits is a rounded root or quotient and is
    printed like an endless fraction.

    Parameters
    ----------
    value : Decimal or Fraction
        A finite number.

    Returns
    -------
    str

    Examples
    --------
    >>> plain(Decimal("1.50E+3")), plain(Fraction(1, 8)), plain(Fraction(2, 3))
    ('1500', '0.125', '0.666666666667')
    """
    if isinstance(value, Decimal):
        text = format(value, "f")
        # A text this short holds no more digits than may be printed.
        if len(text) <= _LONGEST_IN_FULL:
            return text if value else text.removeprefix("-")
        number, ends = value, len(value.as_tuple().digits) <= _LONGEST_IN_FULL
    else:
        number, ends = _divided(value)
    if not ends:
        number = _SHORT.normalize(number)
    text = format(number, "f")
    return text if number else text.removeprefix("-")


def inwards(value: Number, rounding: str) -> str:
    """Write a limit like `plain`; one that is not written in full is rounded in one direction.

    >>> inwards(Fraction(2, 3), "ROUND_FLOOR"), inwards(Decimal("0.50"), "ROUND_FLOOR")
    ('0.666666666666', '0.50')
    """
    number = value if isinstance(value, Decimal) else _divided(value)[0]
    in_full = len(number.as_tuple().digits) <= _LONGEST_IN_FULL
    return plain(number) if in_full else twelve_inwards(number, rounding)


def twelve_inwards(value: Number, rounding: str) -> str:
    """Write a limit with 12 significant digits at most, rounded in one direction.

    For limits that were solved for, or come from a root: of their digits these are meant.

    >>> twelve_inwards(Decimal("798.102687445531591"), "ROUND_FLOOR")
    '798.102687445'
    """
    number = value if isinstance(value, Decimal) else _divided(value)[0]
    return plain(Context(prec=_PRINTED_DIGITS, rounding=rounding).plus(number).normalize())


def shortened(value: Number) -> Decimal:
    """Round to 12 significant digits, half to even, without zeros at the end.

    What is given of a number that has no end: a root, a quotient, a sine.

    >>> shortened(Fraction(1, 3)), shortened(Decimal("0.50"))
    (Decimal('0.333333333333'), Decimal('0.5'))
    """
    number = value if isinstance(value, Decimal) else _divided(value)[0]
    return _SHORT.normalize(number)


def _divided(value: Fraction) -> tuple[Decimal, bool]:
    """Return a fraction as a decimal, and whether that is all of it."""
    with localcontext(_EXACT) as context:
        context.traps[Inexact] = False
        context.clear_flags()
        number = Decimal(value.numerator) / Decimal(value.denominator)
        return number, not context.flags[Inexact]


def reported_uncertainty(U: Decimal) -> Decimal:
    """Round an expanded uncertainty up to two significant digits (ILAC-P14:09/2020, 5.5).

    Two digits at most is read in a secondary source; rounding always up is this project's choice.
    It is rounded from 12 digits: the noise of a float must not lift it by a whole digit. A whole
    number has all its places, whether or not it was written with an exponent.

    Parameters
    ----------
    U : Decimal
        Expanded uncertainty, 0 or more.

    Returns
    -------
    Decimal
        U itself where it has no more than two digits.

    Examples
    --------
    >>> reported_uncertainty(Decimal("0.01234")), reported_uncertainty(Decimal("0.2"))
    (Decimal('0.013'), Decimal('0.2'))
    """
    _, digits, exponent = U.as_tuple()
    if len(digits) <= _REPORTED_DIGITS and int(exponent) <= 0:
        return U
    whole = U if int(exponent) <= 0 else U.quantize(Decimal(1), context=_PLACES)
    return _TWO_UP.plus(_SHORT.plus(whole))


def reported_value(value: Decimal, U: Decimal) -> Decimal:
    """Round a value, half to even, to the last place of its reported uncertainty.

    Parameters
    ----------
    value, U : Decimal
        A value and its expanded uncertainty, in one unit.

    Returns
    -------
    Decimal
        The value itself where U is 0.

    Examples
    --------
    >>> reported_value(Decimal("10.01234"), Decimal("0.0123"))
    Decimal('10.012')
    """
    return value.quantize(reported_uncertainty(U), context=_PLACES) if U else value
