"""How far the results of a table are from their limits, in units of u, by the digits as they came.

Choice: `api.rules.distances` on the columns of a table, limits around a nominal value included, so
that risks have the bits of single decisions. Not checked: the rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

import numpy as np

from api.rules.distances import RowTexts, Whole, standardised
from api.rules.offsets import Seen
from api.rules.risk import Floats
from api.services.batches.cells import Numbers
from api.services.batches.masks import NUMBERS, PRIOR, Some, Table
from api.services.batches.rows import placed

_SIDES = ("lower", "upper")
_TEXTS = (*NUMBERS, *PRIOR)


def by_digits(table: Table) -> tuple[tuple[Floats, Floats], Seen]:
    """Return (value - lower)/u and (upper - value)/u, and the columns that a prior sees.

    Of every row; NaN where there is no limit.
    """
    numbers, size = table.numbers, len(table.odd)
    value, U, lower, upper = (_whole(numbers, name, size) for name in ("value", "U", *_SIDES))
    if "tolerance" in numbers and "nominal" in numbers:
        nominal, tolerance = (_whole(numbers, name, size) for name in ("nominal", "tolerance"))
        stated = ~np.isnan(tolerance.numbers)
        lower = nominal.minus(tolerance).where(stated, lower)
        upper = nominal.plus(tolerance).where(stated, upper)
    given = table.floats("k")
    k = Whole.constant(Decimal(2), size)
    if given is not None:
        k = _read(np.where(np.isnan(given), 2.0, given), numbers.get("k"))
    mean, sd = (_whole(numbers, name, size) for name in PRIOR)
    texts = _texts(table)
    seen = Seen(value, U, k, lower, upper, mean, sd, table.floats("dof"), texts)
    return standardised(value, U, k, lower, upper, texts), seen


def _whole(numbers: Mapping[str, Numbers], name: str, size: int) -> Whole:
    column = numbers.get(name)
    if column is None:
        return Whole.absent(size)
    return _read(column.floats, column)


def _read(floats: Floats, column: Numbers | None) -> Whole:
    if column is None:
        return Whole.of(floats)
    return Whole.of(floats, column.is_text, column.long)


def _texts(table: Table) -> RowTexts:
    def of(rows: Some) -> Mapping[str, Sequence[str | None]]:
        return placed({n: table.numbers[n].texts(rows) for n in _TEXTS if n in table.numbers})

    return of
