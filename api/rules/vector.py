"""Columns of results: the answers of `decide` for many rows at once.

Choice: one pure function from float arrays to arrays, in chunks that stay in the cache, and a mask
of the rows that floats cannot settle: within a few units in the last place of an edge, or not
decidable at all. `decide_rows` sends those rows, from their text, through exact arithmetic, so that
its verdicts equal the scalar ones on the limit too, and a row that cannot be decided gets the same
message.

An absent limit, dof or prior is NaN in a float column, None or empty in a text column. NaN in an
output column means that the value does not exist. A rule with a precondition is decided branch by
branch, each with the rows that it decides. Not checked: units; a row has one for all.
"""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from api.rules.bands import Rows
from api.rules.branch_columns import UNSETTLED, branch_numbers
from api.rules.branches import branches
from api.rules.distances import SHORT_TEXT, Whole, standardised
from api.rules.exact import FieldError
from api.rules.kernel import (
    GLOBAL_RISKS,
    LIMITS,
    POSTERIOR,
    RISKS,
    UNDECIDED,
    WORK,
    Columns,
    decide_chunk,
)
from api.rules.offsets import Seen
from api.rules.reported import REPORTED
from api.rules.risk import Floats
from api.rules.rule import BUILT_IN, NO_STATEMENT, Rule
from api.rules.settling import NEEDED, PAIR, RowError, Texts, settle
from api.rules.verdicts import VERDICTS

# What a row may hold, all in one unit but k and dof.
COLUMNS = ("value", "U", "k", "lower", "upper", "dof", "prior_mean", "prior_sd")

_CHUNK = 32_768


def decide_columns(
    value: ArrayLike,
    U: ArrayLike,
    k: ArrayLike,
    lower: ArrayLike,
    upper: ArrayLike,
    rule: Rule,
    dof: ArrayLike | None = None,
    prior_mean: ArrayLike | None = None,
    prior_sd: ArrayLike | None = None,
    wanted: Collection[str] | None = None,
    distances: tuple[Floats, Floats] | None = None,
    seen: Seen | None = None,
) -> Columns:
    """Decide float columns of equal length; a scalar serves for a constant column.

    Parameters
    ----------
    value, U, k, lower, upper : float or array of shape (n,)
        Results, expanded uncertainties, their coverage factors and tolerance limits, in one unit
        for each row; NaN is an absent limit.
    rule : Rule
        The decision rule of all rows.
    dof : float or array of shape (n,), optional
        Degrees of freedom; NaN is infinitely many.
    prior_mean, prior_sd : float or array of shape (n,), optional
        What is known of the items; both or none.
    wanted : collection of str, optional
        The float columns to calculate; all unless given.
    distances : pair of arrays of shape (n,), optional
        (value - lower)/u and (upper - value)/u, NaN where there is no limit, if they are known
        better than from the floats (`distances.standardised`); the risks rest on them.
    seen : Seen, optional
        The columns by the digits as they were written: the global risks and the posterior then
        rest on them, and on `distances`.

    Returns
    -------
    dict of str to array of shape (n,)
        `verdict` (int8, index into VERDICTS, -1 where there is none), `exact_needed` (bool: settle
        the row by exact arithmetic), and float64, NaN where the value does not exist:
        `acceptance_lower`, `acceptance_upper`, `specific_risk` (consumer's: probability of not
        conforming), `conformance_probability` and, with a prior, the global risks and the
        posterior. With a precondition also `branch` (int8, from 1; 0 where floats cannot tell).

    Raises
    ------
    FieldError
        If columns differ in length, or half a prior is given.

    Examples
    --------
    >>> from api.rules.rule import BUILT_IN
    >>> found = decide_columns([10.5, 10.9], 0.2, 2.0, 9.0, 11.0, BUILT_IN["four_state_U"])
    >>> found["verdict"].tolist(), found["exact_needed"].tolist()
    ([0, 1], [False, False])
    """
    given = (value, U, k, lower, upper, dof, prior_mean, prior_sd)
    arrays = {
        name: np.asarray(column, dtype=np.float64)
        for name, column in zip(COLUMNS, given, strict=True)
        if column is not None
    }
    with_prior = all(name in arrays for name in PAIR)
    if not with_prior and any(name in arrays for name in PAIR):
        raise FieldError("/prior_sd", "a prior needs both prior_mean and prior_sd")
    lengths = {array.size for array in arrays.values() if array.ndim}
    if len(lengths) > 1:
        raise FieldError("", f"columns differ in length: {sorted(lengths)}")
    size = lengths.pop() if lengths else 1
    found: Columns = {"verdict": np.empty(size, dtype=np.int8)}
    kinds = (LIMITS, RISKS, GLOBAL_RISKS + POSTERIOR if with_prior else ())
    for names in kinds:
        # The global risks and the posterior come together.
        if names[2:] and wanted is not None and not set(names).isdisjoint(wanted):
            wanted = {*wanted, *names}
        found |= {name: np.empty(size) for name in names if wanted is None or name in wanted}
    found["exact_needed"] = np.empty(size, dtype=np.bool_)
    columns = {name: np.broadcast_to(array, (size,)) for name, array in arrays.items()}
    if distances is not None:
        columns |= dict(zip(("below", "above"), distances, strict=True))
    if rule.precondition is None:
        _decide(columns, rule, found, seen)
    else:
        found["branch"] = np.empty(size, dtype=np.int8)
        _by_branch(columns, rule, found, seen)
    return found


def _decide(columns: Mapping[str, Floats], rule: Rule, found: Columns, seen: Seen | None) -> None:
    """Fill the arrays of `found` by a rule without precondition."""
    offsets = band = None
    if seen is not None and rule.decides_on != REPORTED:
        offsets = seen.offsets(rule) if GLOBAL_RISKS[0] in found else None
        # Where its digits are not needed, solving in floats is enough.
        known = seen.bands.get(rule.guard)
        band = None if known is None else known.solved
    size = len(found["verdict"])
    work = np.empty((WORK, min(size, _CHUNK)))
    for start in range(0, size, _CHUNK):
        part = slice(start, start + _CHUNK)
        cells: dict[str, Any] = {name: column[part] for name, column in columns.items()}
        cells["offsets"] = None if offsets is None else offsets.some(part)
        rows = Rows(**cells, band=None if band is None else band[part])
        decide_chunk(rows, rule, {name: column[part] for name, column in found.items()}, work)


def _by_branch(columns: Mapping[str, Any], rule: Rule, found: Columns, seen: Seen | None) -> None:
    """Fill the arrays of `found` by a rule with a precondition."""
    numbers = branch_numbers(rule, Rows(**columns))
    for number, one in enumerate((None, *branches(rule))):
        rows = np.flatnonzero(numbers == number)
        if not rows.size:
            continue
        part = {name: np.empty(rows.size, column.dtype) for name, column in found.items()}
        if number == UNSETTLED:
            unsettle(part)
        else:
            some = {name: column[rows] for name, column in columns.items()}
            its = None if seen is None else seen.some(rows)
            _decide(some, one or BUILT_IN["simple"], part, its)
        if number != UNSETTLED and one is None:
            state_nothing(part)
        part["branch"][:] = number
        for name, column in part.items():
            found[name][rows] = column


def unsettle(part: Columns) -> None:
    """Leave rows to exact arithmetic altogether."""
    for column in part.values():
        column[:] = np.nan if column.dtype == np.float64 else 0
    part["verdict"][:] = UNDECIDED
    part["exact_needed"][:] = True


def state_nothing(part: Columns) -> None:
    """Make rows, decided by simple acceptance, rows without a statement: risks stay as they are."""
    decided = part["verdict"] != UNDECIDED
    part["verdict"][decided] = VERDICTS.index(NO_STATEMENT)
    for name in (*LIMITS, *GLOBAL_RISKS):
        if name in part:
            part[name][:] = np.nan


def decide_rows(columns: Texts, rule: Rule) -> tuple[Columns, list[RowError]]:
    """Decide columns of decimal text, with the verdicts that single decisions give.

    Parameters
    ----------
    columns : mapping of str to sequence of str or None
        `value`, `U` and any others of COLUMNS, of one length; None or empty is absent, and k then
        2.
    rule : Rule
        The decision rule of all rows.

    Returns
    -------
    dict of str to array, list of RowError
        The arrays of `decide_columns`, verdicts equal to the scalar ones in every row, and an error
        for each row whose verdict is -1.

    Raises
    ------
    FieldError
        If a column is unknown, missing or of another length, or half a prior is given.

    Examples
    --------
    >>> from api.rules.rule import BUILT_IN
    >>> texts = {"value": ["0.3", "x"], "U": ["0.2", "0.2"], "upper": ["0.5", "0.5"]}
    >>> found, errors = decide_rows(texts, BUILT_IN["guard_U"])
    >>> found["verdict"].tolist(), errors
    ([0, -1], [RowError(row=1, field='/value', message="'x' is not a number")])
    """
    for name in columns:
        if name not in COLUMNS:
            raise FieldError(f"/{name}", f"unknown column {name!r}")
    for name in NEEDED:
        if name not in columns:
            raise FieldError(f"/{name}", f"the column {name} is needed")
    floats = {name: as_floats(texts) for name, texts in columns.items()}
    size = len(floats["value"])
    nothing = np.full(size, np.nan)
    k = floats.get("k", nothing)
    floats["k"] = np.where(np.isnan(k), 2.0, k)
    alike = {len(column) for column in floats.values()} == {size}
    distances, seen = _by_digits(floats, columns) if alike else (None, None)
    found = decide_columns(
        **{"lower": nothing, "upper": nothing, **floats},
        rule=rule,
        distances=distances,
        seen=seen,
    )
    return found, settle(found, columns, rule)


def _by_digits(floats: Mapping[str, Floats], columns: Texts) -> tuple[tuple[Floats, Floats], Seen]:
    """Return how far results are from limits and prior mean, from the digits that were written."""

    def whole(name: str) -> Whole:
        texts = columns.get(name)
        if texts is None:
            size = len(floats["value"])
            return Whole.of(floats[name]) if name in floats else Whole.absent(size)
        lengths = np.fromiter((len(text or "") for text in texts), np.intp, len(texts))
        return Whole.of(floats[name], True, lengths > SHORT_TEXT)

    def texts(rows: NDArray[np.intp]) -> dict[str, list[str | None]]:
        some = rows.tolist()
        return {name: [column[row] for row in some] for name, column in columns.items()}

    value, U, k, lower, upper = map(whole, ("value", "U", "k", "lower", "upper"))
    mean, sd = map(whole, PAIR)
    seen = Seen(value, U, k, lower, upper, mean, sd, floats.get("dof"), texts)
    return standardised(value, U, k, lower, upper, texts), seen


def as_floats(texts: Sequence[str | None]) -> Floats:
    """Return a column of text as floats: empty is NaN, what is no finite number is infinite.

    >>> as_floats(["1.5", "", None, "x"]).tolist()
    [1.5, nan, nan, inf]
    """
    try:
        column = np.fromiter(map(float, texts), np.float64, len(texts))  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return np.fromiter(map(_as_float, texts), np.float64, len(texts))
    return np.where(np.isnan(column), np.inf, column)


def _as_float(text: str | None) -> float:
    if text is None or text == "":
        return np.nan
    try:
        number = float(text)
    except ValueError:
        return np.inf
    return np.inf if np.isnan(number) else number
