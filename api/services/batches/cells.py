"""What number each cell of a column holds, and which cells are not plainly a number.

Choice: a mask over the whole column finds the cells that need a closer look (`odd`); it may suspect
too much, never too little, and the caller asks the row schema about those. Text is read to the
nearest float, typed columns are taken as they are; `texts` gives the digits of single cells back,
for a float its shortest form. An empty cell is no number and not odd.

Not checked: what the numbers mean together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.rules.distances import SHORT_TEXT
from api.rules.risk import Floats

# What may stand around a cell and is no part of it.
SPACES = " \t"
# Within these bounds every rule of a single decision about digits and exponents is kept.
_LONGEST = 30
_SMALLEST, _LARGEST = 1e-30, 1e30
# The shortest text whose exponent may have more digits than such an exponent may have.
_LONG_EXPONENT = len("1e0000000001")
# Whole numbers up to here are floats.
_WHOLE = 2**53

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Numbers:
    """One column: its cells, their numbers (NaN where there is none) and the cells to look at.

    `long` marks texts with digits that a float may not show; None if there are none.
    """

    cells: pl.Series
    floats: Floats
    odd: Mask
    long: Mask | None = None

    def some(self, rows: NDArray[np.intp]) -> Numbers:
        """Return the column of some rows."""
        long = None if self.long is None else self.long[rows]
        return Numbers(self.cells.gather(rows), self.floats[rows], self.odd[rows], long)

    @property
    def is_text(self) -> bool:
        """Say whether the numbers came with digits of their own."""
        return self.cells.dtype == pl.String

    def texts(self, rows: NDArray[np.intp]) -> list[str]:
        """Return the cells of some rows as text, empty where there is nothing."""
        return self.cells.gather(rows).cast(pl.String).fill_null("").to_list()


def read_numbers(cells: pl.Series) -> Numbers | None:
    """Return the numbers of a column, None if all its cells are empty."""
    short = cells.dtype.is_float() and cells.dtype != pl.Float64
    if short or cells.dtype.is_decimal():
        # Another float says by its shortest form which number was meant; a decimal has its own.
        cells = cells.cast(pl.String)
    if cells.null_count() == len(cells):
        return None
    if cells.dtype == pl.String:
        return _from_text(cells)
    floats = cells.cast(pl.Float64, strict=False) if cells.dtype.is_numeric() else _none(cells)
    return Numbers(cells, floats.to_numpy(), _odd(cells, floats))


def _from_text(cells: pl.Series) -> Numbers | None:
    floats = _read(cells)
    if floats.null_count() > cells.null_count():
        cells = cells.str.strip_chars(SPACES).replace("", None)
        if cells.null_count() == len(cells):
            return None
        floats = _read(cells)
    odd = _odd(cells, floats)
    lengths = cells.str.len_bytes()
    may_be_long = lengths >= _LONG_EXPONENT
    long: Mask | None = None
    if may_be_long.any():
        odd |= (lengths > _LONGEST).fill_null(False).to_numpy()
        long = (lengths > SHORT_TEXT).fill_null(False).to_numpy()
        if _has_exponent(cells):
            odd |= (may_be_long & cells.str.contains("[eE]")).fill_null(False).to_numpy()
    numbers = floats.to_numpy()
    zeros = np.flatnonzero(numbers == 0.0)
    if zeros.size:
        # A zero does not show how large its exponent is.
        odd[zeros] |= cells.gather(zeros).str.contains("[eE]").to_numpy()
    return Numbers(cells, numbers, odd, long)


def _has_exponent(cells: pl.Series) -> bool:
    joined = cells.str.join("")[0]
    return "e" in joined or "E" in joined


def _read(cells: pl.Series) -> pl.Series:
    # A factor k is usually the same in all rows.
    if len(cells) and not cells.null_count() and (cells == cells[0]).all():
        return cells.head(1).cast(pl.Float64, strict=False).new_from_index(0, len(cells))
    return cells.cast(pl.Float64, strict=False)


def _none(cells: pl.Series) -> pl.Series:
    return pl.Series([None], dtype=pl.Float64).new_from_index(0, len(cells))


def _odd(cells: pl.Series, floats: pl.Series) -> Mask:
    size = np.abs(floats.to_numpy())
    largest = _WHOLE if cells.dtype.is_integer() else _LARGEST
    usual: Mask = ((size < largest) & (size > _SMALLEST)) | (size == 0.0)
    if cells.null_count():
        usual |= cells.is_null().to_numpy()
    return ~usual
