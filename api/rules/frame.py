"""Results in a data frame: the same decisions, for scripts.

Choice: no library of data frames is imported; whatever gives columns by name and can be made from
columns will do: pandas, polars, a plain mapping. Columns of numbers are taken as they are, a column
of text or of Decimals keeps its digits; verdicts equal those of single decisions in both cases,
where a float counts as its shortest decimal form. In a column of floats NaN is an absent number.

Not checked: units; a row has one for all its numbers.
"""

from collections.abc import Sequence
from typing import Any, TypeVar, overload

import numpy as np
from numpy.typing import NDArray

from api.rules.branch_reasons import branch_of_each
from api.rules.decide import VERDICTS
from api.rules.decimals import tidy_all
from api.rules.exact import FieldError
from api.rules.risk import Floats
from api.rules.rule import Rule
from api.rules.settling import Texts, settle
from api.rules.vector import COLUMNS, as_floats, decide_columns

Frame = TypeVar("Frame")
_NEEDED = ("value", "U")
BRANCH = ("rule_branch", "rule_branch_reason")


def decide_frame(frame: Frame, rule: Rule) -> Frame:
    """Return a frame with its columns and the answers: a new one, of the same type.

    Parameters
    ----------
    frame : data frame or mapping
        Columns that decide are `value`, `U`, `k` (2 where absent), `lower`, `upper`, `dof`,
        `prior_mean` and `prior_sd`; a row has one unit.
    rule : Rule
        The decision rule of all rows.

    Returns
    -------
    type of `frame`
        Added are `verdict` (None where there is none), the acceptance limits, the risks and, with a
        prior, the global risks and the posterior (float, NaN where they do not exist), with a
        precondition `rule_branch` and `rule_branch_reason`, `error_field` and `error`.

    Raises
    ------
    FieldError
        If value or U is missing, columns differ in length, or half a prior is given.

    Examples
    --------
    >>> import pandas as pd
    >>> from api.rules.rule import BUILT_IN
    >>> frame = pd.DataFrame({"value": [10.5, 10.9], "U": 0.2, "lower": 9.0, "upper": 11.0})
    >>> decided = decide_frame(frame, BUILT_IN["guard_U"])
    >>> decided[["value", "verdict", "acceptance_upper"]].to_numpy().tolist()
    [[10.5, 'pass', 10.8], [10.9, 'fail', 10.8]]
    """
    given: Any = frame
    names = list(getattr(given, "columns", given))
    for name in _NEEDED:
        if name not in names:
            raise FieldError(f"/{name}", f"the column {name} is needed")
    columns = {name: _column(given[name]) for name in COLUMNS if name in names}
    floats = {name: _floats(column) for name, column in columns.items()}
    k = floats.get("k", np.full(len(floats["value"]), 2.0))
    limits = {name: floats.get(name, np.full(len(k), np.nan)) for name in ("lower", "upper")}
    found = decide_columns(
        floats["value"],
        floats["U"],
        np.where(np.isnan(k), 2.0, k),
        limits["lower"],
        limits["upper"],
        rule,
        *(floats.get(name) for name in ("dof", "prior_mean", "prior_sd")),
    )
    tidy_all(found, {**limits, "U": floats["U"]}, rule)
    wrong = {error.row: error for error in settle(found, columns, rule)}
    codes = found.pop("verdict").tolist()
    branched = found.pop("branch", None) is not None
    del found["exact_needed"]
    rows = range(len(codes))
    added = {
        "verdict": [VERDICTS[code] if code >= 0 else None for code in codes],
        **found,
        **(_branches(rule, columns, codes) if branched else {}),
        "error_field": [wrong[row].field.strip("/") if row in wrong else None for row in rows],
        "error": [wrong[row].message if row in wrong else None for row in rows],
    }
    if hasattr(given, "assign"):
        return given.assign(**added)  # type: ignore[no-any-return]  # a frame of its own library
    made: Any = type(given)
    return made({**{name: given[name] for name in names}, **added})  # type: ignore[no-any-return]


def _branches(rule: Rule, columns: Texts, codes: Sequence[int]) -> dict[str, list[Any]]:
    """Return which branch of the rule decided each row and why, None where none did."""
    rows = [row for row, code in enumerate(codes) if code >= 0]
    told = dict(zip(rows, branch_of_each(columns, rule, rows), strict=True))
    pairs = [told.get(row, (None, None)) for row in range(len(codes))]
    return {name: [pair[n] for pair in pairs] for n, name in enumerate(BRANCH)}


class _Shortest(Sequence[str | None]):
    """A column of numbers, read as text: each in its shortest form, None for NaN."""

    def __init__(self, numbers: NDArray[Any]) -> None:
        self.numbers = numbers

    def __len__(self) -> int:
        return len(self.numbers)

    @overload
    def __getitem__(self, row: int) -> str | None: ...
    @overload
    def __getitem__(self, row: slice) -> "_Shortest": ...
    def __getitem__(self, row: int | slice) -> "str | _Shortest | None":
        found = self.numbers[row]
        if isinstance(row, slice):
            return _Shortest(found)
        return None if found != found else str(found)


def _column(column: Any) -> Sequence[str | None]:
    array = np.asarray(column)
    if array.dtype.kind in "fiu":
        return _Shortest(array)
    return [None if _is_absent(cell) else str(cell) for cell in array.tolist()]


def _is_absent(cell: object) -> bool:
    return cell is None or cell != cell


def _floats(column: Sequence[str | None]) -> Floats:
    if not isinstance(column, _Shortest):
        return as_floats(column)
    numbers = column.numbers
    # Of a short float the decimal is meant that it shows, not what its bits are as a long one.
    short = numbers.dtype.kind == "f" and numbers.dtype.itemsize < 8
    return as_floats(list(column)) if short else numbers.astype(np.float64)
