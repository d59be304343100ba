"""How many u lie between a result and its limits: for columns, with the bits of single decisions.

Choice: the difference of two decimals loses digits as floats, and the risk with it. A decimal of at
most 15 digits is a whole number of its last place, which a float holds; differences and products
of such numbers are exact up to 2 ** 53, and their quotient is rounded once, as in a single
decision. Rows of text with more digits are worked out one by one. A float that needs more than 15
digits is nothing that anybody wrote; its distances are those of floats, unless they cancel.

Not checked: the numbers; rows that cannot be decided get some distance or other.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from math import isnan

import numpy as np
from numpy.typing import NDArray

from api.rules.decide import distance
from api.rules.risk import Floats

Mask = NDArray[np.bool_]
# Of some rows, by number, what is needed to work them out: value, U, k, lower and upper as text.
RowTexts = Callable[[NDArray[np.intp]], Mapping[str, Sequence[str | None]]]

_MOST = 1e15
_EXACT = 2.0**53
_DIGITS = 15
# Powers of ten up to here are floats.
_MOST_PLACES = 22
_EPS = float(np.finfo(np.float64).eps)
# Floats whose distances may be wrong by more than this are worked out one by one too.
DOUBT = 1e-9
_SAMPLE = 128
# Rows of which all arrays stay in the cache.
_CHUNK = 8_192
# A text this short has no more digits than that; a whole number of 16 digits is `_MOST` or more.
SHORT_TEXT = _DIGITS + 1


@dataclass(frozen=True, slots=True)
class Whole:
    """A column of decimals as whole numbers of 10 ** -places, NaN where there is none.

    `known` marks the rows that they hold exactly; absent ones are known. `numbers` are the floats
    nearest to all of them; `written`: they came as text. No unit is above `largest`.
    """

    units: Floats
    places: int
    known: Mask
    numbers: Floats
    largest: float
    written: bool = False

    @classmethod
    def of(cls, column: Floats, written: bool = False, long: Mask | None = None) -> "Whole":
        """Read floats that stand for decimals; of those that are `long` they do not say all."""
        one = column[:1] if _constant(column) else column
        places = _places(one[:: max(1, len(one) // _SAMPLE)])
        found, exact, largest = _units(one, places) if one.size else (one, one == 0.0, 0.0)
        units, known = np.broadcast_to(found, column.shape), np.broadcast_to(exact, column.shape)
        if long is not None:
            known = known & ~long
        return cls(units, places, known, column, largest, written)

    @classmethod
    def constant(cls, number: Decimal, size: int) -> "Whole":
        """Return a decimal in every row."""
        places = max(0, -int(number.as_tuple().exponent))
        unit = float(number.scaleb(places))
        columns = (np.broadcast_to(one, (size,)) for one in (unit, float(number)))
        known = np.broadcast_to(abs(unit) < _EXACT and places <= _MOST_PLACES, (size,))
        units, numbers = columns
        return cls(units, places, known, numbers, abs(unit))

    @classmethod
    def absent(cls, size: int) -> "Whole":
        """Return a column without any number."""
        nothing = np.broadcast_to(np.nan, (size,))
        return cls(nothing, 0, np.broadcast_to(np.True_, (size,)), nothing, 0.0)

    def at(self, places: int) -> Floats:
        """Return whole numbers of a smaller unit, exact below 2 ** 53."""
        return self.units if places == self.places else self.units * 10.0 ** (places - self.places)

    def minus(self, other: "Whole") -> "Whole":
        """Return the difference, known where it is exact."""
        return replace(self._less(other), numbers=self.numbers - other.numbers)

    def _less(self, other: "Whole") -> "Whole":
        """Return the difference with numbers that are not its own."""
        places = max(self.places, other.places)
        mine, others = self.at(places), other.at(places)
        known = self.known & other.known
        scales = (10.0 ** (places - one.places) * one.largest for one in (self, other))
        largest = sum(scales)
        if largest >= _EXACT:
            known = known & ~(np.abs(mine) >= _EXACT) & ~(np.abs(others) >= _EXACT)
        written = self.written or other.written
        return Whole(mine - others, places, known, self.numbers, largest, written)

    def plus(self, other: "Whole") -> "Whole":
        """Return the sum, known where it is exact."""
        return self.minus(other.negative())

    def negative(self) -> "Whole":
        """Return the numbers with the other sign."""
        return replace(self, units=-self.units, numbers=-self.numbers)

    def times(self, other: "Whole") -> "Whole":
        """Return the product, known where it is exact."""
        units, known = self.units * other.units, self.known & other.known
        places, largest = self.places + other.places, self.largest * other.largest
        if largest >= _EXACT or places > _MOST_PLACES:
            known = known & ~(np.abs(units) >= _EXACT) & (places <= _MOST_PLACES)
        numbers = self.numbers * other.numbers
        return Whole(units, places, known, numbers, largest, self.written or other.written)

    def some(self, rows: NDArray[np.intp] | slice) -> "Whole":
        """Return the numbers of some rows."""
        return replace(
            self, units=self.units[rows], known=self.known[rows], numbers=self.numbers[rows]
        )

    def rounded(self) -> Floats:
        """Return the floats next to the numbers; of those that are not known, what floats tell."""
        found = self.units if self.places == 0 else self.units / 10.0**self.places
        return found if self.known.all() else np.where(self.known, found, self.numbers)

    def long(self) -> NDArray[np.longdouble]:
        """Return the numbers with the most digits that the machine has."""
        found = self.units.astype(np.longdouble) / np.longdouble(10) ** self.places
        return found if self.known.all() else np.where(self.known, found, self.numbers)

    def where(self, mask: Mask, other: "Whole") -> "Whole":
        """Return these numbers in the rows of the mask, the others' in the rest."""
        places = max(self.places, other.places)
        units = np.where(mask, self.at(places), other.at(places))
        known = np.where(mask, self.known, other.known) & ~(np.abs(units) >= _EXACT)
        numbers = np.where(mask, self.numbers, other.numbers)
        largest = max(10.0 ** (places - one.places) * one.largest for one in (self, other))
        return Whole(units, places, known, numbers, largest, self.written or other.written)


def standardised(
    value: Whole, U: Whole, k: Whole, lower: Whole, upper: Whole, texts: RowTexts
) -> tuple[Floats, Floats]:
    """Return (value - lower)/u and (upper - value)/u, each rounded once, NaN without a limit.

    Parameters
    ----------
    value, U, k, lower, upper : Whole
        Columns of n decimals.
    texts : callable
        The numbers of some rows as text, for those that whole numbers do not hold.

    Returns
    -------
    pair of ndarray of float64, shape (n,)
    """
    size = len(value.units)
    below, above, sure = np.empty(size), np.empty(size), np.empty(size, dtype=np.bool_)
    for start in range(0, size, _CHUNK):
        part = slice(start, start + _CHUNK)
        y, expanded, factor, low, high = (one.some(part) for one in (value, U, k, lower, upper))
        below[part], known = over(y._less(low), factor, expanded)
        above[part], sure[part] = over(high._less(y), factor, expanded)
        sure[part] &= known
    rows = np.flatnonzero(~sure)
    if rows.size:
        numbers = (column.numbers[rows] for column in (value, U, k, lower, upper))
        below[rows], above[rows], doubt = _by_floats(*numbers)
        written = value.written | lower.written | upper.written | U.written
        for row, cells in each(texts, rows if written else rows[doubt > DOUBT]):
            below[row], above[row] = _alone(cells)
    return below, above


def each(texts: RowTexts, rows: NDArray[np.intp]) -> Iterator[tuple[int, Mapping[str, str | None]]]:
    """Return some rows, each with its cells."""
    if not rows.size:
        return
    columns = texts(rows)
    for row, *cells in zip(rows.tolist(), *columns.values(), strict=True):
        yield row, dict(zip(columns, cells, strict=True))


def over(difference: Whole, k: Whole, U: Whole) -> tuple[Floats, Mask]:
    """Return difference * k / U, and where it is exact up to its one rounding."""
    exponent = U.places - difference.places - k.places
    more, less = 10.0 ** max(exponent, 0), 10.0 ** max(-exponent, 0)
    over = difference.units * (k.units if exponent <= 0 else k.units * more)
    under = U.units if exponent >= 0 else U.units * less
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        found = over / under
    if not under.all():
        # Without uncertainty a value on a limit is inside, infinitely far.
        found[(over == 0.0) & (under == 0.0)] = np.inf
    known = difference.known & k.known & U.known
    if difference.largest * k.largest * more >= _EXACT or U.largest * less >= _EXACT:
        known = known & ~(np.abs(over) >= _EXACT) & ~(np.abs(under) >= _EXACT)
    return found, known


def _by_floats(
    value: Floats, U: Floats, k: Floats, lower: Floats, upper: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return both distances as floats tell them, and how far they may be wrong."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        per_u = k / U
        largest = np.abs(value) + np.fmax(np.abs(lower), np.abs(upper))
        doubt = np.where(np.isfinite(per_u), _EPS * largest * per_u, np.inf)
        return (value - lower) * per_u, (upper - value) * per_u, doubt


def _alone(texts: Mapping[str, str | None]) -> tuple[float, float]:
    """Return the distances of one row; of one that cannot be decided, none."""
    try:
        value, U, k = (Decimal(texts.get(name) or "2") for name in ("value", "U", "k"))
        lower, upper = (texts.get(name) for name in ("lower", "upper"))
        return (
            -distance(Decimal(lower), value, U, k, -np.inf) if lower else np.nan,
            distance(Decimal(upper), value, U, k, np.inf) if upper else np.nan,
        )
    except (ArithmeticError, ValueError):
        return np.nan, np.nan


def _constant(column: Floats) -> bool:
    """Say whether all numbers of a column are the same; mostly a few of them tell that not."""
    few = column[:: max(1, len(column) // 3)]
    return bool(column.size and (few == column[0]).all() and (column == column[0]).all())


def _units(column: Floats, places: int) -> tuple[Floats, Mask, float]:
    """Return whole numbers, the rows that they hold exactly, and the largest of them all."""
    scale = 10.0**places
    units, known = np.empty(column.shape), np.empty(column.shape, dtype=np.bool_)
    with np.errstate(invalid="ignore", over="ignore"):
        for start in range(0, len(column), _CHUNK):
            part = slice(start, start + _CHUNK)
            some = np.multiply(column[part], scale, out=units[part])
            np.rint(some, out=some)
            np.equal(some / scale, column[part], out=known[part])
        largest = float(np.maximum(np.maximum.reduce(units), -np.minimum.reduce(units)))
        if not known.all():
            # Absent is NaN, and not unknown.
            known |= np.isnan(column)
            largest = float(np.fmax(np.fmax.reduce(units), -np.fmin.reduce(units)))
        if largest >= _MOST:
            known &= ~(np.abs(units) >= _MOST)
    return units, known, 0.0 if isnan(largest) else largest


def _places(sample: Floats) -> int:
    """Return with how many places behind the point most numbers of a sample are exact."""
    if not sample.size:
        return 0
    best, most = 0, -1
    for places in range(_DIGITS + 1):
        count = int(_units(sample, places)[1].sum())
        if count > most:
            best, most = places, count
        if count == len(sample):
            break
    return best
