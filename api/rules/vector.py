"""Columns of results: the answers of `decide` for many rows at once.

Choice: one pure function from float arrays to arrays, in chunks that stay in the cache, and a mask
of the rows that floats cannot settle: within a few units in the last place of an edge, or not
decidable at all. `decide_rows` sends those rows, from their text, through exact arithmetic, so that
its verdicts equal the scalar ones on the limit too, and a row that cannot be decided gets the same
message.

An absent limit, dof or prior is NaN in a float column, None or empty in a text column. NaN in an
output column means that the value does not exist. Not checked: units; a row has one for all.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from api.rules.acceptance import Prior, acceptance
from api.rules.bands import Rows
from api.rules.decide import VERDICTS, decide, verdict
from api.rules.exact import FieldError, Number, finite
from api.rules.kernel import GLOBAL_RISKS, LIMITS, POSTERIOR, RISKS, WORK, Columns, decide_chunk
from api.rules.limits import Limits
from api.rules.risk import Floats
from api.rules.rule import Rule, RuleError

# What a row may hold, all in one unit but k and dof.
COLUMNS = ("value", "U", "k", "lower", "upper", "dof", "prior_mean", "prior_sd")

_CHUNK = 32_768
_NEEDED = ("value", "U")
_PAIR = ("prior_mean", "prior_sd")

Texts = Mapping[str, Sequence[str | None]]


@dataclass(frozen=True, slots=True)
class RowError:
    """Why a row has no verdict.

    Attributes
    ----------
    row : int
        Its index, from 0.
    field : str
        JSON pointer (RFC 6901) to the field; into the rule it begins with `/rule`.
    message : str
        What is wrong.
    """

    row: int
    field: str
    message: str


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

    Returns
    -------
    dict of str to array of shape (n,)
        `verdict` (int8, index into VERDICTS, -1 where there is none), `exact_needed` (bool: settle
        the row by exact arithmetic), and float64, NaN where the value does not exist:
        `acceptance_lower`, `acceptance_upper`, `specific_risk` (consumer's: probability of not
        conforming), `conformance_probability` and, with a prior, the global risks and the
        posterior.

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
    with_prior = all(name in arrays for name in _PAIR)
    if not with_prior and any(name in arrays for name in _PAIR):
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
    work = np.empty((WORK, min(size, _CHUNK)))
    for start in range(0, size, _CHUNK):
        part = slice(start, start + _CHUNK)
        rows = Rows(**{name: column[part] for name, column in columns.items()})
        decide_chunk(rows, rule, {name: column[part] for name, column in found.items()}, work)
    return found


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
    for name in _NEEDED:
        if name not in columns:
            raise FieldError(f"/{name}", f"the column {name} is needed")
    floats = {name: as_floats(texts) for name, texts in columns.items()}
    k = floats.get("k", np.float64(2.0))
    found = decide_columns(
        floats["value"],
        floats["U"],
        np.where(np.isnan(k), 2.0, k),
        floats.get("lower", np.nan),
        floats.get("upper", np.nan),
        rule,
        *(floats.get(name) for name in ("dof", *_PAIR)),
    )
    return found, settle(found, columns, rule)


def settle(found: Columns, columns: Texts, rule: Rule) -> list[RowError]:
    """Decide the rows marked `exact_needed` from their text, in place; return what went wrong.

    `columns` must hold the text of every column that `decide_columns` was given. Probabilities
    are calculated again where floats could not tell them (NaN).
    """
    errors = []
    unknown = np.isnan(found["specific_risk"])
    for row in np.flatnonzero(found["exact_needed"]).tolist():
        texts = {name: column[row] for name, column in columns.items()}
        try:
            given = row_from_text(texts)
            accepted = acceptance(given.limits, given.U, rule, **given.circumstances())
        except FieldError as error:
            # A rule's own pointers start inside the rule.
            prefix = "/rule" if isinstance(error, RuleError) else ""
            errors.append(RowError(row, prefix + error.field, str(error)))
            continue
        zone = verdict(given.value, given.limits, accepted, rule.zones)
        found["verdict"][row] = VERDICTS.index(zone)
        _fill(found, row, LIMITS, (accepted.lower, accepted.upper))
        if unknown[row]:
            _fill_risks(found, row, given, rule)
    return errors


@dataclass(frozen=True, slots=True)
class Row:
    """One row of decimal text, read."""

    value: Decimal
    U: Decimal
    limits: Limits
    k: Decimal
    dof: Decimal | None
    prior: Prior | None

    def circumstances(self) -> dict[str, Any]:
        """Return the keyword arguments of `acceptance` and `decide`."""
        return {"k": self.k, "dof": self.dof, "prior": self.prior}


def row_from_text(texts: Mapping[str, str | None]) -> Row:
    """Read one row; raise FieldError with the column that is wrong."""
    numbers = {
        name: _number(text, f"/{name}")
        for name, text in texts.items()
        if text not in (None, "") or name in _NEEDED
    }
    missing = [name for name in _PAIR if name not in numbers]
    if len(missing) == 1:
        raise FieldError(f"/{missing[0]}", "a prior needs both prior_mean and prior_sd")
    return Row(
        numbers["value"],
        numbers["U"],
        Limits(numbers.get("lower"), numbers.get("upper")),
        numbers.get("k", Decimal(2)),
        numbers.get("dof"),
        None if missing else Prior(*(numbers[name] for name in _PAIR)),
    )


def _fill_risks(found: Columns, row: int, given: Row, rule: Rule) -> None:
    alone = decide(given.value, given.U, given.limits, rule, **given.circumstances())
    _fill(found, row, RISKS, (alone.specific_risk["consumer"], alone.conformance_probability))
    if alone.global_risk is not None and alone.posterior is not None:
        _fill(found, row, GLOBAL_RISKS, alone.global_risk.values())
        _fill(found, row, POSTERIOR, alone.posterior.values())


def _fill(
    found: Columns, row: int, names: Sequence[str], numbers: Iterable[Number | float | None]
) -> None:
    for name, number in zip(names, numbers, strict=True):
        found[name][row] = np.nan if number is None else float(number)


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


def _number(text: str | None, field: str) -> Decimal:
    if text is None or text == "":
        raise FieldError(field, "a number is needed")
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise FieldError(field, f"{text!r} is not a number") from None
    finite(number, field.removeprefix("/"))
    return number
