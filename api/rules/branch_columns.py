"""Which branch of a rule decides each row of a column: `branches.choose` for floats.

Choice: the same products as `branches.holds`, with a bound on their error. Rows nearer to a limit
than that, and rows whose numbers say nothing (an absent limit, what is no number), belong to no
branch here: they are decided from their text, where the comparison is exact, or refused.

Not checked: the numbers; `kernel` marks those that cannot be used.
"""

import numpy as np
from numpy.typing import NDArray

from api.rules.bands import Rows, uncertainty_at_95
from api.rules.precondition import Precondition
from api.rules.reported import REPORTED
from api.rules.rule import Rule

# Of a row that floats cannot settle; the branches themselves count from 1.
UNSETTLED = 0
_EPS = float(np.finfo(np.float64).eps)
# Two parsings, a difference, a few products and a t of 15 digits cost less than this many units in
# the last place.
_ROUNDINGS = 64.0
# Below this a product of floats has lost its digits.
_TINY = 1e-290


def branch_numbers(rule: Rule, rows: Rows) -> NDArray[np.int8]:
    """Return the number of the branch that decides each row, UNSETTLED where floats cannot tell."""
    size = len(rows.value)
    found = np.full(size, UNSETTLED, dtype=np.int8)
    if rule.decides_on == REPORTED:
        return found  # the reported U has other digits than its float
    waiting = np.ones(size, dtype=np.bool_)
    for number, one in enumerate(rule.chain(), 1):
        if one.precondition is None:
            found[waiting] = number
            return found
        holds, fails = _asked(one.precondition, rows)
        found[waiting & holds] = number
        waiting &= fails
    found[waiting] = number + 1
    return found


def _asked(asked: Precondition, rows: Rows) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return in which rows a precondition holds for certain, and in which it certainly does not."""
    limit = float(asked.limit)
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        span = rows.upper - rows.lower
        size = np.abs(rows.upper) + np.abs(rows.lower)
        if asked.kind == "least_tur":
            short = 2.0 * limit * uncertainty_at_95(rows)
            over, scale = span - short, size + short
        else:
            over, scale = limit * span - 2.0 * rows.U, limit * size + 2.0 * rows.U
        doubt = _ROUNDINGS * _EPS * np.abs(scale) + _TINY
        # A comparison with NaN is false either way.
        return over > doubt, over < -doubt
