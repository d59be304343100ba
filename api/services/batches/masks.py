"""Which rows of a table need a closer look, and what is wrong with them.

Choice: masks over whole columns find the rows that the row schema might refuse. Only these meet
it, through `explain`, and get its message if it does refuse them. A mask may suspect too much,
never too little: what it lets through the schema would let through, which a test compares.

Not checked: whether a rule can be applied to a row; deciding shows that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.rules.risk import Floats
from api.rules.units import UnknownUnit
from api.services.base.units import check_unit
from api.services.batches.cells import SPACES, Mask, Numbers, read_numbers

NUMBERS = ("value", "U", "k", "dof", "lower", "upper", "nominal", "tolerance")
PRIOR = ("prior_mean", "prior_sd")

Fault = tuple[str, str]
Faults = dict[int, Fault]
Explain = Callable[[Mapping[str, str]], Fault | None]
Some = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Table:
    """Columns of numbers and the limits, given or around a nominal value, as floats.

    `odd` marks the rows that need a closer look.
    """

    numbers: Mapping[str, Numbers]
    lower: Floats
    upper: Floats
    odd: Mask

    def some(self, rows: Some) -> Table:
        """Return the table of some rows; the same if they are all."""
        if len(rows) == len(self.odd):
            return self
        numbers = {name: column.some(rows) for name, column in self.numbers.items()}
        return Table(numbers, self.lower[rows], self.upper[rows], self.odd[rows])

    def floats(self, name: str) -> Floats | None:
        """Return a column of numbers, None if it is empty."""
        return self.numbers[name].floats if name in self.numbers else None


def read_table(frame: pl.DataFrame) -> Table:
    """Return the numbers of a frame; columns that it lacks are taken as empty."""
    columns = {n: read_numbers(frame[n]) for n in (*NUMBERS, *PRIOR) if n in frame.columns}
    numbers = {name: column for name, column in columns.items() if column is not None}
    nothing = np.full(frame.height, np.nan)
    given = {name: numbers[name].floats if name in numbers else nothing for name in NUMBERS}
    lower, upper = given["lower"], given["upper"]
    if "tolerance" in numbers:
        nominal, tolerance = given["nominal"], given["tolerance"]
        stated = ~np.isnan(tolerance)
        lower = np.where(stated, nominal - tolerance, lower)
        upper = np.where(stated, nominal + tolerance, upper)
    table = Table(numbers, lower, upper, np.zeros(frame.height, np.bool_))
    for mask in (*_odd_numbers(numbers, given), *_odd_limits(table, given)):
        table.odd[:] |= mask
    return table


def _odd_numbers(numbers: Mapping[str, Numbers], given: Mapping[str, Floats]) -> Iterator[Mask]:
    yield from (column.odd for column in numbers.values())
    for name in ("value", "U"):
        yield np.isnan(given[name])
    yield given["U"] < 0.0
    if "k" in numbers:
        yield given["k"] <= 0.0
    if "dof" in numbers:
        yield given["dof"] < 1.0
    priors = [numbers[name].floats for name in PRIOR if name in numbers]
    if len(priors) == 1:
        yield ~np.isnan(priors[0])
    elif priors:
        yield (np.isnan(priors[0]) != np.isnan(priors[1])) | (priors[1] < 0.0)


def _odd_limits(table: Table, given: Mapping[str, Floats]) -> Iterator[Mask]:
    # Equal floats may be limits in the wrong order.
    in_order = table.lower < table.upper
    if not in_order.all():
        yield ~in_order & (np.isnan(table.lower) == np.isnan(table.upper))
    if "tolerance" in table.numbers:
        stated = ~np.isnan(given["tolerance"])
        alone = np.isnan(given["lower"]) & np.isnan(given["upper"]) & ~np.isnan(given["nominal"])
        yield (stated & ~alone) | (given["tolerance"] < 0.0)


def ask_the_schema(frame: pl.DataFrame, odd: Mask, explain: Explain, faults: Faults) -> None:
    """Note what the row schema has against the odd rows."""
    rows = [row for row in np.flatnonzero(odd).tolist() if row not in faults]
    names = [name for name in (*NUMBERS, *PRIOR) if name in frame.columns]
    some = frame.select(pl.col(name).gather(rows).cast(pl.String) for name in names)
    for place, row in enumerate(rows):
        cells = some.row(place, named=True) if names else {}
        bare = {name: (cell or "").strip(SPACES) for name, cell in cells.items()}
        fault = explain({name: cell for name, cell in bare.items() if cell})
        if fault is not None:
            faults[row] = fault


def check_units(frame: pl.DataFrame, faults: Faults) -> None:
    """Note the rows whose unit is not known."""
    for unit, rows in groups(frame, "unit"):
        try:
            if unit:
                check_unit(unit)
        except UnknownUnit as unknown:
            for row in rows.tolist():
                faults.setdefault(row, ("unit", str(unknown)))


def groups(frame: pl.DataFrame, column: str) -> Iterator[tuple[str, Some]]:
    """Return every name in a column with its rows; where there is no column, the name is empty."""
    every = np.arange(frame.height)
    if column not in frame.columns or not frame.height:
        yield "", every
        return
    names = frame[column].cast(pl.String).fill_null("")
    if (names == names[0]).all():
        yield names[0].strip(SPACES), every
        return
    names = names.str.strip_chars(SPACES)
    for name in names.unique(maintain_order=True):
        yield name, np.flatnonzero((names == name).to_numpy())
