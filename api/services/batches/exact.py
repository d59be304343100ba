"""Rows on a limit, decided exactly: acceptance limits and verdicts of columns of decimal text.

Choice: decimals of fixed point with 38 digits for a whole column at once. They serve rows of at
most `_PLACES` digits behind the point and a dozen before it, under rules whose guard band is a
multiple of U, a share of the tolerance or a fixed width; the caller decides the others one by one.
A limit has the digits that `Decimal` gives it: 11 - 0.20 is 10.80.

Not checked: the rows; those that are odd must not be asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray

from api.rules.decimals import decimal_places, exact_factors
from api.rules.kernel import LIMITS
from api.rules.rule import Rule
from api.services.batches.cells import Mask, Numbers

_PLACES = 22
_BELOW = 1e12
_MOST_FACTOR_PLACES = 10
_LARGEST_FACTOR = 1000
_EXACT_IN_FLOATS = 1e15
_POINT = ord(".")


@dataclass(frozen=True, slots=True)
class _Fixed:
    """A column of decimals and how many places behind the point each of them has."""

    number: pl.Series
    places: NDArray[np.int64]

    def __add__(self, other: _Fixed) -> _Fixed:
        return _Fixed(self.number + other.number, np.maximum(self.places, other.places))

    def __sub__(self, other: _Fixed) -> _Fixed:
        return _Fixed(self.number - other.number, np.maximum(self.places, other.places))

    def times(self, factor: Decimal) -> _Fixed:
        number = self.number if factor == 1 else self.number * factor
        return _Fixed(number, self.places + decimal_places(factor))

    def texts(self) -> pl.Series:
        """Return the numbers, each with its own places."""
        scale: int = self.number.dtype.scale  # type: ignore[attr-defined]  # a Decimal has one
        text = self.number.cast(pl.String)
        if (self.places == scale).all():
            return text
        # The point goes with the last place.
        cut = scale - self.places + ((self.places == 0) & (scale > 0))
        length = text.str.len_bytes().cast(pl.Int64) - pl.Series(cut)
        return text.to_frame("text").select(pl.col("text").str.head(length)).to_series()


@dataclass(frozen=True, slots=True)
class ExactLimits:
    """Tolerance and acceptance limits of a column; a missing side is None. `known` marks rows."""

    known: Mask
    lower: _Fixed | None
    upper: _Fixed | None
    band: tuple[_Fixed, _Fixed]
    accepted: tuple[_Fixed | None, _Fixed | None]

    def acceptance(self) -> dict[str, pl.Series]:
        """Return the acceptance limits as text, null where there is none."""
        found = dict(zip(LIMITS, self.accepted, strict=True))
        return {name: limit.texts() for name, limit in found.items() if limit is not None}

    def verdicts(self, value: Numbers, rows: NDArray[np.intp], zones: int) -> NDArray[np.int8]:
        """Return the verdicts of some rows, -1 where the value has too many digits."""
        wide = pl.Decimal(38, _PLACES)
        some = Numbers(pl.Series(value.texts(rows)), value.floats[rows], value.odd[rows])
        known = self.known[rows] & _Text.of(some).usable(_PLACES)
        at = _where(some.cells, known).cast(wide)

        def below(limit: _Fixed | None, sign: int) -> NDArray[np.int64]:
            if limit is None:
                return np.zeros(len(rows), dtype=np.int64)
            edge = limit.number.gather(rows).cast(wide)
            outside = at < edge if sign < 0 else at > edge
            return outside.fill_null(False).to_numpy().astype(np.int64)

        lower, upper = self.lower, self.upper
        pairs = [self.accepted]
        if zones == 4:
            beyond = (
                None if lower is None else lower - self.band[0],
                None if upper is None else upper + self.band[1],
            )
            pairs += [(lower, upper), beyond]
        steps = sum(below(low, -1) | below(high, 1) for low, high in pairs)
        codes = steps * (3 if zones == 2 else 1)
        return np.where(known, codes, -1).astype(np.int8)


def exact_limits(rule: Rule, columns: Mapping[str, Numbers]) -> ExactLimits | None:
    """Return the limits of every row, None where rule or columns have no exact decimals.

    `columns` are U and, with or without gaps, lower and upper, or nominal and tolerance.
    """
    factors = exact_factors(rule.guard)
    names = [n for n in ("lower", "upper", "nominal", "tolerance") if n in columns]
    names += [] if rule.guard.factor is None else ["U"]
    if factors is None or not all(columns[name].is_text for name in names):
        return None
    extra = max(map(decimal_places, factors))
    if extra > _MOST_FACTOR_PLACES or max(map(abs, factors)) >= _LARGEST_FACTOR:
        return None
    texts = {name: _Text.of(columns[name]) for name in names}
    known = np.logical_and.reduce([text.usable(_PLACES - extra) for text in texts.values()])
    scale = max(int(text.places.max(initial=0, where=known)) for text in texts.values())
    fixed = {name: text.fixed(scale + extra, known) for name, text in texts.items()}
    lower, upper = _sides(fixed)
    band = _band(rule, fixed.get("U"), lower, upper, len(known))
    accepted = (
        None if lower is None else lower + band[0],
        None if upper is None else upper - band[1],
    )
    return ExactLimits(known, lower, upper, band, accepted)


@dataclass(frozen=True, slots=True)
class _Text:
    """A column of text, how many digits each cell has behind the point, and which cells may serve.

    Empty cells have no digits, and serve.
    """

    column: Numbers
    places: NDArray[np.int64]
    plain: Mask

    @classmethod
    def of(cls, column: Numbers) -> _Text:
        cells, plain = column.cells, ~(column.odd | (np.abs(column.floats) >= _BELOW))
        data, ends, lengths = _bytes(cells)
        if b"e" in data or b"E" in data:
            plain &= ~cells.str.contains("[eE]").fill_null(False).to_numpy()
        return cls(column, _places(cells, data, ends, lengths), plain)

    def usable(self, most: int) -> Mask:
        """Mark the cells that are fixed point with no more places than `most`, or empty."""
        return self.plain & (self.places <= most)

    def fixed(self, scale: int, known: Mask) -> _Fixed:
        """Return the decimals of the rows that are known, null in the others."""
        kind, floats = pl.Decimal(38, scale), self.column.floats
        there = known & ~np.isnan(floats)
        whole = (floats if there.all() else np.where(there, floats, 0.0)) * 10.0**scale
        if -_EXACT_IN_FLOATS < whole.min(initial=0.0) <= whole.max(initial=0.0) < _EXACT_IN_FLOATS:
            # The text is a whole number of these units, and the float so near that rounding
            # finds it. This is much faster than to read the text again.
            units = np.empty((len(whole), 2), dtype=np.int64)
            units[:, 0] = np.rint(whole, out=whole)
            np.right_shift(units[:, 0], 63, out=units[:, 1])
            buffers = [None, pa.py_buffer(units)]
            array = pa.Array.from_buffers(pa.decimal128(38, scale), len(whole), buffers)
            number = pl.Series(array)
        else:
            number = _where(self.column.cells, there).cast(kind)
        return _Fixed(_where(number, there), self.places)


def _band(
    rule: Rule, U: _Fixed | None, lower: _Fixed | None, upper: _Fixed | None, size: int
) -> tuple[_Fixed, _Fixed]:
    factors = exact_factors(rule.guard) or ()
    if rule.guard.factor is not None and U is not None:
        return (U.times(factors[0]),) * 2
    if rule.guard.share is not None and lower is not None and upper is not None:
        return ((upper - lower).times(factors[0]),) * 2
    return _constant(factors[0], size), _constant(factors[-1], size)


def _constant(number: Decimal, size: int) -> _Fixed:
    count = decimal_places(number)
    column = pl.Series([number], dtype=pl.Decimal(38, count))
    return _Fixed(column.new_from_index(0, size), np.full(size, count))


def _sides(fixed: Mapping[str, _Fixed]) -> tuple[_Fixed | None, _Fixed | None]:
    """Return the tolerance limits, given or around a nominal value."""
    lower, upper = fixed.get("lower"), fixed.get("upper")
    if "nominal" not in fixed or "tolerance" not in fixed:
        return lower, upper
    nominal, tolerance = fixed["nominal"], fixed["tolerance"]
    return _either(lower, nominal - tolerance), _either(upper, nominal + tolerance)


def _either(given: _Fixed | None, derived: _Fixed) -> _Fixed:
    if given is None:
        return derived
    there = given.number.is_not_null()
    number = given.number.zip_with(there, derived.number)
    return _Fixed(number, np.where(there.to_numpy(), given.places, derived.places))


def _bytes(cells: pl.Series) -> tuple[bytes, NDArray[np.int64], NDArray[np.int64]]:
    """Return the bytes of all cells in one, where each cell ends, and its length."""
    array = cells.to_arrow(compat_level=pl.CompatLevel.oldest())
    _, offsets, data = array.buffers()
    bounds = np.frombuffer(offsets, np.int64)[array.offset : array.offset + len(cells) + 1]
    found = b"" if data is None else data.slice(0, bounds[-1]).to_pybytes()
    return found, bounds[1:], np.diff(bounds)


def _places(
    cells: pl.Series, data: bytes, ends: NDArray[np.int64], lengths: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return how many digits each cell has behind the point, 0 for an empty one."""
    first = cells[0] if len(cells) else None
    guess = len(first) - 1 - first.find(".") if first and "." in first else 0
    # Often all cells have as many as the first one.
    if guess and lengths.min() > guess:
        marks = np.frombuffer(data, np.uint8)[ends - 1 - guess]
        if (marks == _POINT).all():
            return np.full(len(cells), guess)
    behind = pl.Series(lengths) - cells.str.find(".", literal=True) - 1
    return behind.fill_null(0).to_numpy()


def _where(cells: pl.Series, known: Mask) -> pl.Series:
    if known.all():
        return cells
    return cells.zip_with(pl.Series(known), pl.Series([None], dtype=cells.dtype))
