"""Which branch decided each row of a table, and why: in the words that a single decision uses.

Choice: from the text of the rows, exactly, once for each set of limits, U, k and degrees of freedom
that occurs.

Not checked: the rows; they were decided already.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from functools import lru_cache

from api.rules.branches import choose
from api.rules.limits import Limits
from api.rules.rule import Rule

_NAMES = ("U", "k", "lower", "upper", "dof")
_KEPT = 65_536


def branch_of_each(
    columns: Mapping[str, Sequence[str | None]], rule: Rule, rows: Iterable[int]
) -> list[tuple[int, str]]:
    """Return number and reason of the branch of rows that have a verdict.

    Parameters
    ----------
    columns : mapping of str to sequence of str or None
        `U`, `lower`, `upper` and, if there are, `k` and `dof`, as decimal text.
    rule : Rule
        A decision rule with a precondition.
    rows : iterable of int
        Which rows.

    Returns
    -------
    list of (int, str)
    """

    @lru_cache(_KEPT)
    def branch(U: str, k: str, lower: str, upper: str, dof: str) -> tuple[int, str]:
        found = choose(
            rule,
            Limits(Decimal(lower), Decimal(upper)),
            Decimal(U),
            k=Decimal(k or 2),
            dof=Decimal(dof) if dof else None,
        )
        return found.number, found.reason

    given = [columns.get(name) for name in _NAMES]
    return [
        branch(*("" if column is None else column[row] or "" for column in given)) for row in rows
    ]
