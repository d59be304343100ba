"""Acceptance limits that come from a root or a solved risk, as text with the digits of a decision.

Choice: twelve digits, rounded inwards, from the digits as they came, with the most that the machine
has, wherever these tell the last one; the rows where they do not are named, and decided one by
one. Not checked: the rows.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray

from api.rules.decimals import solved_units
from api.rules.exact import plain
from api.rules.kernel import LIMITS, UNDECIDED, Columns
from api.rules.offsets import Seen
from api.rules.rule import Rule
from api.services.batches.masks import Some

_MOST_PLACES = 38


def solved_limits(decided: Columns, seen: Seen, rule: Rule) -> tuple[dict[str, pl.Series], Some]:
    """Return limits that have no end as text, and the rows whose digits are not sure."""
    limits, unsure = {}, np.zeros(len(decided["verdict"]), dtype=np.bool_)
    sides = zip(LIMITS, seen.limits(rule.guard), (ROUND_CEILING, ROUND_FLOOR), strict=True)
    for name, (tolerance, w, doubt), rounding in sides:
        still = tolerance.known & (w == 0) & (seen.band(rule.guard).doubt == 0)
        # Where the rule accepts nothing there is no limit.
        none = np.isnan(decided[name])
        moved = np.where(none, np.nan, tolerance.long() + w)
        doubt = np.where(tolerance.known, doubt, np.inf)
        units, exponents, open_ = solved_units(moved, doubt, still, rounding)
        limits[name] = _written(units, exponents, np.flatnonzero(~open_))
        unsure |= open_ & ~none
    return limits, np.flatnonzero(unsure & (decided["verdict"] != UNDECIDED))


def _written(units: NDArray[np.int64], exponents: NDArray[np.int64], rows: Some) -> pl.Series:
    """Return units * 10 ** exponents of some rows as text without exponent, null in the others."""
    texts = pl.Series([None], dtype=pl.String).new_from_index(0, len(units))
    for exponent in np.unique(exponents[rows]).tolist():
        some = rows[exponents[rows] == exponent]
        part = _of_one_scale(units[some], exponent)
        texts = part if len(some) == len(units) else texts.scatter(some, part)
    return texts


def _of_one_scale(units: NDArray[np.int64], exponent: int) -> pl.Series:
    if not -_MOST_PLACES <= exponent < 0:
        numbers = (Decimal(unit).scaleb(exponent).normalize() for unit in units.tolist())
        return pl.Series([plain(number) for number in numbers], dtype=pl.String)
    wide = np.empty((len(units), 2), dtype=np.int64)
    wide[:, 0] = units
    np.right_shift(units, 63, out=wide[:, 1])
    kind = pa.decimal128(_MOST_PLACES, -exponent)
    numbers = pa.Array.from_buffers(kind, len(units), [None, pa.py_buffer(wide)])
    texts = pl.Series(numbers).cast(pl.String)
    return texts.str.strip_chars_end("0").str.strip_chars_end(".")
