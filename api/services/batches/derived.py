"""U and limits of rows that give a percentage, terms of a tolerance, or a specification.

Choice: they become the columns `U`, `lower` and `upper`, exactly, before anything is decided, so
that everything behind knows these alone; rows without such cells are not touched. As in a single
decision U in percent is of the magnitude of the value, and percent of reading of the value unless a
reading is given. A specification beside limits or a tolerance is what it is there: words.

Not checked: that the specification covers the instrument.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import polars as pl

from api.rules.exact import FieldError, exact_arithmetic
from api.rules.limits import half_width
from api.services.base.scales import scales_of
from api.services.base.units import PERCENT
from api.services.batches.cells import SPACES

RELATIVE, TERMS, SPECIFICATION = "U_rel_pct", "terms", "specification"
SCALES = ("reading", "full_scale", "resolution")
# The columns beside those of numbers that may decide.
DERIVED = (RELATIVE, TERMS, SPECIFICATION, *SCALES)
_REQUIREMENTS = ("lower", "upper", "tolerance", TERMS)
_MADE = ("U", "lower", "upper")
_NUMBERS = ("value", "nominal", *SCALES)

Fault = tuple[str, str]
Explain = Callable[[Mapping[str, str]], Fault | None]
Bounds = tuple[Decimal | None, Decimal | None]


class Result(NamedTuple):
    """What a specification is asked about: a result, its unit, and what terms are taken of."""

    value: Decimal
    nominal: Decimal | None
    unit: str | None
    reading: Decimal | None
    full_scale: Decimal | None
    resolution: Decimal | None


# Returns the limits that a specification gives; raises FieldError.
Specify = Callable[[str, Result], Bounds]


def worked_out(
    frame: pl.DataFrame,
    names: tuple[str, ...],
    explain: Explain,
    specify: Specify,
    faults: dict[int, Fault],
) -> pl.DataFrame:
    """Return the frame with U and limits where other columns give them; note what is wrong.

    `names` are the columns that the row schema, asked by `explain`, knows beside `DERIVED`.
    """
    if not {RELATIVE, TERMS, SPECIFICATION} & set(frame.columns):
        return frame
    known = [name for name in (*names, *DERIVED, "unit") if name in frame.columns]
    texts = frame.select(_as_text(frame[name]) for name in known)
    found: dict[str, dict[int, str | None]] = {name: {} for name in _MADE}
    for row in _rows(texts):
        if row in faults:
            continue
        cells = {name: cell for name, cell in texts.row(row, named=True).items() if cell}
        unit = cells.pop("unit", None)
        fault = explain(cells)
        if fault is None:
            try:
                for name, number in _made(cells, unit, specify).items():
                    found[name][row] = None if number is None else format(number, "f")
            except FieldError as error:
                fault = error.field.strip("/").split("/")[0], str(error)
        if fault is not None:
            faults[row] = fault
    return frame.with_columns(_filled(frame, name, cells) for name, cells in found.items() if cells)


def no_specifications(code: str, result: Result) -> Bounds:
    """Refuse a specification where none is known."""
    raise FieldError(
        f"/{SPECIFICATION}",
        f"specification {code!r} is not known, and none is; give limits or a tolerance",
    )


def _as_text(cells: pl.Series) -> pl.Series:
    kind = cells.dtype
    if kind.is_nested() or kind == pl.Object:
        written = [None if cell is None else json.dumps(cell, default=str) for cell in cells]
        return pl.Series(cells.name, written, dtype=pl.String)
    return cells.cast(pl.String).str.strip_chars(SPACES)


def _rows(texts: pl.DataFrame) -> Iterator[int]:
    """Yield the rows to which these columns say something."""
    there = {name: (texts[name].fill_null("") != "").to_numpy() for name in texts.columns}
    nothing = np.zeros(texts.height, dtype=np.bool_)
    limited = np.logical_or.reduce([there.get(name, nothing) for name in _REQUIREMENTS])
    some = there.get(RELATIVE, nothing) | there.get(TERMS, nothing)
    some |= there.get(SPECIFICATION, nothing) & ~limited
    yield from np.flatnonzero(some).tolist()


def _made(
    cells: Mapping[str, str], unit: str | None, specify: Specify
) -> dict[str, Decimal | None]:
    """Return U, lower and upper of a row, as far as it does not state them itself."""
    numbers = {name: Decimal(cells[name]) for name in _NUMBERS if name in cells}
    scales = {name: numbers.get(name) for name in ("nominal", *SCALES)}
    result = Result(value=numbers["value"], unit=unit, **scales)
    found: dict[str, Decimal | None] = {}
    if RELATIVE in cells:
        found["U"] = _share(result, Decimal(cells[RELATIVE]))
    limited = any(name in cells for name in _REQUIREMENTS)
    if TERMS in cells:
        found["lower"], found["upper"] = _around(result, cells[TERMS])
    elif SPECIFICATION in cells and not limited:
        found["lower"], found["upper"] = specify(cells[SPECIFICATION], result)
    return found


def _share(result: Result, percent: Decimal) -> Decimal:
    if result.value == 0 or result.unit == PERCENT:
        of = "a value of 0" if result.value == 0 else "a value that is itself in percent"
        why = f"U in percent of {of} has no meaning; give U in the unit of the value"
        raise FieldError(f"/{RELATIVE}", why)
    with exact_arithmetic():
        return abs(result.value) * percent * Decimal("0.01")


def _around(result: Result, terms: str) -> Bounds:
    centre = result.nominal or Decimal(0)
    try:
        width = half_width(_terms(terms), scales_of(*result))
    except FieldError as error:
        raise FieldError(f"/{TERMS}", f"{error} ({error.field})") from None
    with exact_arithmetic():
        return centre - width, centre + width


@lru_cache(1000)
def _terms(text: str) -> Mapping[str, Any]:
    """Return a tolerance made of terms: the list alone, or {"terms", "combine"}."""
    try:
        found = json.loads(text, parse_float=Decimal, parse_int=Decimal)
    except (ValueError, RecursionError, ArithmeticError):
        found = None
    if isinstance(found, list):
        return {"terms": found}
    if isinstance(found, dict) and "terms" in found:
        return found
    remedy = '[{"kind": "percent_of_reading", "value": "0.05"}], with its kinds and values'
    raise FieldError("/terms", f"not a list of terms in JSON; write {remedy}")


def _filled(frame: pl.DataFrame, name: str, cells: Mapping[int, str | None]) -> pl.Series:
    """Return a column as text with some cells replaced."""
    if name in frame.columns:
        column = frame[name].cast(pl.String)
    else:
        column = pl.Series([None], dtype=pl.String).new_from_index(0, frame.height)
    made = pl.Series([*cells.values()], dtype=pl.String)
    return column.scatter([*cells], made).alias(name)
