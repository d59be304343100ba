"""How far the results of a table are from their limits, in units of u, by the digits as they came.

Choice: `api.rules.distances` on the columns of a table, limits around a nominal value included, so
that risks have the bits of single decisions. Not checked: the rows.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from api.rules.distances import RowTexts, Whole, standardised
from api.rules.risk import Floats
from api.services.batches.cells import Numbers
from api.services.batches.masks import Table
from api.services.batches.rows import placed

_SIDES = ("lower", "upper")
_TEXTS = ("value", "U", "k", "lower", "upper", "nominal", "tolerance")


def distances_of(table: Table) -> tuple[Floats, Floats]:
    """Return (value - lower)/u and (upper - value)/u of every row, NaN where there is no limit."""
    numbers, size = table.numbers, len(table.odd)
    value, U, lower, upper = (_whole(numbers, name, size) for name in ("value", "U", *_SIDES))
    if "tolerance" in numbers and "nominal" in numbers:
        nominal, tolerance = (_whole(numbers, name, size) for name in ("nominal", "tolerance"))
        stated = ~np.isnan(tolerance.numbers)
        lower = nominal.minus(tolerance).where(stated, lower)
        upper = nominal.plus(tolerance).where(stated, upper)
    given = table.floats("k")
    factor = np.full(size, 2.0) if given is None else np.where(np.isnan(given), 2.0, given)
    k = _read(factor, numbers.get("k"))
    return standardised(value, U, k, lower, upper, _texts(table))


def _whole(numbers: Mapping[str, Numbers], name: str, size: int) -> Whole:
    column = numbers.get(name)
    if column is None:
        return Whole.of(np.full(size, np.nan))
    return _read(column.floats, column)


def _read(floats: Floats, column: Numbers | None) -> Whole:
    if column is None:
        return Whole.of(floats)
    return Whole.of(floats, column.is_text, column.long)


def _texts(table: Table) -> RowTexts:
    def of(row: int) -> Mapping[str, str | None]:
        one = np.array([row])
        cells = {n: table.numbers[n].texts(one) for n in _TEXTS if n in table.numbers}
        return {name: texts[0] for name, texts in placed(cells).items()}

    return of
