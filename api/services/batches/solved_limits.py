"""Acceptance limits that come from a root or a solved risk, as text with the digits of a decision.

Choice: twelve digits, rounded inwards, from floats wherever these tell the last one; the rows where
they do not are named, and decided one by one. A global risk is solved alike for one row and for
many. Not checked: the rows.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.rules.decimals import float_places, solved_texts
from api.rules.kernel import LIMITS, UNDECIDED, Columns
from api.rules.rule import Rule
from api.services.batches.masks import Some, Table

# A solved limit in floats is as good as this, of its own size: some ten roundings, and a root.
_DOUBT = 32.0 * float(np.finfo(np.float64).eps)


def solved_limits(decided: Columns, table: Table, rule: Rule) -> tuple[dict[str, pl.Series], Some]:
    """Return limits that are not exact in floats as text, and the rows whose digits they hide."""
    lower, upper = table.lower, table.upper
    w = np.fmax(decided[LIMITS[0]] - lower, upper - decided[LIMITS[1]])
    with np.errstate(divide="ignore", invalid="ignore"):
        half = (upper - lower) / 2.0
        # An error of the interval grows as what is accepted of it vanishes.
        growth = 1.0 + np.where(np.isnan(half), 0.0, np.abs(half / (half - w)))
    doubt = _DOUBT * (np.fmax(np.abs(lower), np.abs(upper)) + np.abs(w)) * growth
    unsure = np.zeros(len(doubt), dtype=np.bool_)
    limits = {}
    still = _unmoved(table, rule)
    lower, upper = (np.where(still, limit, np.nan) for limit in (lower, upper))
    sides = ((lower, ROUND_CEILING), (upper, ROUND_FLOOR))
    for name, (tolerances, rounding) in zip(LIMITS, sides, strict=True):
        texts, open_ = solved_texts(decided[name], tolerances, doubt, rounding)
        limits[name] = pl.Series(texts, dtype=pl.String)
        unsure |= open_
    return limits, np.flatnonzero(unsure & (decided["verdict"] != UNDECIDED))


def _unmoved(table: Table, rule: Rule) -> NDArray[np.bool_]:
    """Mark rows where a limit that w did not move in floats is exactly that of the tolerance.

    Of two rules alone w may be 0, and not only too small for floats, where there is uncertainty.
    The limits must have so few digits that a float shows them all.
    """
    numbers = table.numbers
    still: NDArray[np.bool_] = numbers["U"].floats == 0.0
    if rule.guard.basis in ("managed", "global_risk"):
        still = np.ones(len(still), dtype=np.bool_)
    for column in numbers.values():
        if column.long is not None:
            still = still & ~column.long
    if "tolerance" in numbers and "nominal" in numbers:
        counts = [float_places(numbers[name].floats) for name in ("nominal", "tolerance")]
        largest = max(np.abs(table.lower).max(initial=0.0), np.abs(table.upper).max(initial=0.0))
        if None in counts or not largest * 10.0 ** max(c or 0 for c in counts) < 1e15:
            still = still & np.isnan(numbers["tolerance"].floats)
    return still
