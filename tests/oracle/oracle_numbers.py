"""How does the oracle read and write numbers, forces and instants?

Exact fractions inside; a Decimal of 60 digits only where a square root does not come out even.
Shares no code with the product on purpose. Not checked: whether a laboratory file is lawful.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from math import isqrt
from typing import Any
from zoneinfo import ZoneInfo

MICROSECOND = timedelta(microseconds=1)

# DESIGN section 3 names the units; factors are the exact definitions, as in the scenario file.
LBF = Fraction("4.4482216152605")
NEWTONS = {
    "N": Fraction(1),
    "kN": Fraction(1000),
    "MN": Fraction(1000000),
    "lbf": LBF,
    "kip": 1000 * LBF,
    "klbf": 1000 * LBF,
    "kgf": Fraction("9.80665"),
    "gf": Fraction("0.00980665"),
    "tf": Fraction("9806.65"),
    "tonf_US": 2000 * LBF,
    "tonf_UK": 2240 * LBF,
}


def number(value: Any) -> Fraction:
    """Exact fraction of a decimal string or JSON number, read from its own digits."""
    return Fraction(str(value))


def optional(value: Any) -> Fraction | None:
    """Like `number`, None for null or absent."""
    return None if value is None else number(value)


def text(value: Fraction, ends: bool = True) -> str:
    """Plain decimal text: in full where it ends, else 12 significant digits, half-even.

    `ends` False marks a value that stands for one that does not end (an uneven square root).
    """
    rest, places = value.denominator, 0
    for prime in (2, 5):
        count = 0
        while rest % prime == 0:
            rest //= prime
            count += 1
        places = max(places, count)
    if rest == 1 and ends:
        digits = Decimal(value.numerator * 10**places // value.denominator)
        plain = format(digits.scaleb(-places, Context(prec=4000)), "f")
    else:
        context = Context(prec=12, rounding=ROUND_HALF_EVEN)
        quotient = context.divide(Decimal(value.numerator), Decimal(value.denominator))
        plain = format(quotient, "f")
    if "." in plain:
        plain = plain.rstrip("0").rstrip(".")
    return "0" if plain == "-0" else plain


def root(value: Fraction) -> tuple[Fraction, bool]:
    """Square root, and whether it is exact: it is when it is a fraction, else it has 60 digits."""
    top, bottom = isqrt(value.numerator), isqrt(value.denominator)
    if top * top == value.numerator and bottom * bottom == value.denominator:
        return Fraction(top, bottom), True
    context = Context(prec=60)
    ratio = Context(prec=80).divide(Decimal(value.numerator), Decimal(value.denominator))
    return Fraction(context.sqrt(ratio)), False


@dataclass(frozen=True)
class Moment:
    """One instant, or the instants of one local day (`first` to `last`, with its noon)."""

    first: datetime
    last: datetime
    noon: datetime
    date_only: bool


def moment(written: str, zone: ZoneInfo) -> Moment:
    """Read an ISO 8601 instant or a bare date; ValueError for a date-time without zone."""
    if len(written) == 10:
        day = date.fromisoformat(written)
        first = datetime.combine(day, time(0), zone).astimezone(UTC)
        following = datetime.combine(day + timedelta(days=1), time(0), zone).astimezone(UTC)
        noon = datetime.combine(day, time(12), zone).astimezone(UTC)
        return Moment(first, following - MICROSECOND, noon, True)
    instant = datetime.fromisoformat(written)
    if instant.tzinfo is None:
        raise ValueError(f"date-time without zone: {written}")
    instant = instant.astimezone(UTC)
    return Moment(instant, instant, instant, False)


def instant_text(instant: datetime | None) -> str | None:
    """UTC text ending in Z, None for an open end."""
    if instant is None:
        return None
    return instant.astimezone(UTC).isoformat().replace("+00:00", "Z")


def microseconds(span: timedelta) -> int:
    """A time span as a whole number of microseconds."""
    return span // MICROSECOND
