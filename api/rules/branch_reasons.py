"""Why each row of a table was decided by its branch: in the words that a single decision uses.

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


def reasons(
    columns: Mapping[str, Sequence[str | None]], rule: Rule, rows: Iterable[int]
) -> list[str]:
    """Return the reason of each of the rows, which have a verdict under a rule with a precondition.

    Parameters
    ----------
    columns : mapping of str to sequence of str or None
        `U`, `lower`, `upper` and, if there are, `k` and `dof`, as decimal text.
    rule : Rule
        The decision rule.
    rows : iterable of int
        Which rows.

    Returns
    -------
    list of str
    """

    @lru_cache(_KEPT)
    def reason(U: str, k: str, lower: str, upper: str, dof: str) -> str:
        found = choose(
            rule,
            Limits(Decimal(lower), Decimal(upper)),
            Decimal(U),
            k=Decimal(k or 2),
            dof=Decimal(dof) if dof else None,
        )
        return found.reason

    given = [columns.get(name) for name in _NAMES]
    return [
        reason(*("" if column is None else column[row] or "" for column in given)) for row in rows
    ]
