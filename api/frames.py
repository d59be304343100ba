"""Results in a data frame: `tracehold evaluate` for scripts.

Choice: the same columns, decided by the same code as a file's, so that verdicts, limits, risks and
errors are those of `evaluate`; a frame differs in what an absent cell looks like (None, NaN, NA,
NaT, a masked cell) and in what comes back: a frame of the same library, with its index and the
types of its own columns. pandas, polars, Arrow tables and mappings of columns will do; of pandas
only what the caller has imported is asked.

Numbers are taken as they are, text and Decimals keep their digits, and a float counts as the
shortest decimal that shows it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any, TypeVar

import numpy as np
import polars as pl
import pyarrow as pa
from marshmallow import ValidationError

from api.errors import TraceholdError
from api.rules.exact import FieldError
from api.rules.rule import Rule, rule_from_mapping
from api.schemas.batches import row_fault
from api.schemas.specifications import NewSpecificationSchema
from api.services.batches.batches import answers_frame, rules_from
from api.services.batches.columns import INPUTS
from api.services.batches.columns import decide_frame as decide_columns
from api.services.batches.derived import SPECIFICATION, TERMS, Specify, no_specifications
from api.services.batches.foreign import foreign, is_usual
from api.services.batches.pieces import check_heading
from api.services.decisions.specifications import specifications_from

Frame = TypeVar("Frame")
# Whole numbers up to here are floats too.
_WHOLE = 2**53
_NUMBERS = (int, float, Decimal, np.integer, np.floating)
_NESTED = (Mapping, list, tuple)
# Columns that hold no number.
_WORDS = ("unit", "rule", SPECIFICATION, TERMS)


def decide_frame(
    frame: Frame,
    rule: Rule | str | Mapping[str, Any] | None = None,
    *,
    rules: Iterable[Rule | Mapping[str, Any]] = (),
    specifications: Iterable[Mapping[str, Any]] = (),
) -> Frame:
    """Return a frame with its columns and the answers: a new one, of the same type.

    Parameters
    ----------
    frame : pandas or polars data frame, Arrow table, or mapping of columns
        A result in each row. Columns that decide are `value`; `U`, or `U_rel_pct` in percent of the
        value; `k` (2 where absent), `dof`; `lower` and `upper`, or `nominal` with `tolerance` or
        with `terms` (a list of terms, or its JSON, of `reading`, `full_scale` and `resolution`), or
        the id of a `specification`; `unit`, `rule`, `prior_mean` and `prior_sd`. All numbers of a
        row are in its unit, save k, dof and percentages. Other columns are passed through.
    rule : Rule, str or mapping, optional
        The rule of rows that name none: a rule, the id of one, or a rule object.
    rules : iterable of Rule or mapping, optional
        Decision rules that rows may name beside the built-in ones.
    specifications : iterable of mapping, optional
        Specifications that rows may name, as recorded by `POST /v1/specifications`.

    Returns
    -------
    type of `frame`
        Added are `verdict`, the acceptance limits (floats where the requirements were floats, else
        text with their digits), the risks (float) and, with a prior, the global risks and the
        posterior, with a precondition `rule_branch` and `rule_branch_reason`, `error_field` and
        `error`. What does not exist is None in a column of text, and NaN in one of floats (null in
        polars and Arrow). A row without a verdict has an error, and no other row has one.

    Raises
    ------
    FieldError
        If columns cannot be used: one that is needed is missing, one looks misspelt, stands twice,
        is of another length or has the name of an answer; or if `rule` is not known.
    RuleError
        If a rule object cannot be used.
    TypeError
        If `frame` gives no columns by name.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"value": [10.5, 10.9], "U": 0.2, "lower": 9.0, "upper": 11.0})
    >>> decided = decide_frame(frame, "guard_U")
    >>> decided[["value", "verdict", "acceptance_upper"]].to_numpy().tolist()
    [[10.5, 'pass', 10.8], [10.9, 'fail', 10.8]]
    """
    given: Any = frame
    names = _names(given)
    try:
        check_heading([name for name in names if isinstance(name, str)])
        known, default = _rules(rule, rules)
        specify = _specifications(specifications)
    except TraceholdError as error:
        issue = error.issues[0] if error.issues else None
        told = error.detail if issue is None else f"{issue.detail}; {issue.remedy}"
        place = issue.value if issue is not None and issue.value else ""
        raise FieldError(f"/{place}".rstrip("/"), told) from None
    cells = _cells(given, [name for name in names if name in INPUTS])
    found = decide_columns(cells, known, default, row_fault, specify=specify)
    answers = answers_frame(found, range(cells.height)).drop("error_line")
    decided: Frame = _joined(given, answers)
    return decided


def _names(given: Any) -> list[Any]:
    """Return the names of the columns; an Arrow table calls them otherwise."""
    if hasattr(given, "column_names"):
        return list(given.column_names)
    if not hasattr(given, "columns") and not isinstance(given, Mapping):
        raise TypeError(f"a data frame or a mapping of columns is needed, not {type(given)}")
    return list(getattr(given, "columns", given))


def _rules(
    rule: Rule | str | Mapping[str, Any] | None, rules: Iterable[Rule | Mapping[str, Any]]
) -> tuple[Mapping[str, Rule], Rule | None]:
    """Return the rules that a row may name, and the rule of the others."""
    more = list(rules)
    known = rules_from(one for one in more if not isinstance(one, Rule))
    for one in more:
        if isinstance(one, Rule):
            if one.id in known:
                raise FieldError("/rules", f"the rule {one.id!r} stands twice; name another id")
            known[one.id] = one
    if rule is None or isinstance(rule, Rule):
        return known, rule
    if not isinstance(rule, str):
        return known, rule_from_mapping(rule, lambda code, version: known.get(code))
    if rule not in known:
        raise FieldError("/rule", f"rule {rule!r} is not known; known: {', '.join(known)}")
    return known, known[rule]


def _specifications(documents: Iterable[Mapping[str, Any]]) -> Specify:
    sent = list(documents)
    if not sent:
        return no_specifications
    try:
        return specifications_from(NewSpecificationSchema(many=True).load(sent))
    except ValidationError as error:
        raise FieldError("/specifications", str(error.messages)) from None


def _cells(given: Any, names: list[str]) -> pl.DataFrame:
    """Return the columns that decide, absent cells as null."""
    columns = [_column(name, given[name]) for name in names]
    sizes = {name: len(column) for name, column in zip(names, columns, strict=True)}
    if len(set(sizes.values())) > 1:
        told = ", ".join(f"{name} {size}" for name, size in sizes.items())
        raise FieldError("", f"columns differ in length: {told}")
    return pl.DataFrame(columns)


def _column(name: str, column: Any) -> pl.Series:
    """Return a column of numbers as it is, any other as text."""
    if isinstance(column, pl.Series):
        found = column.alias(name)
        if isinstance(found.dtype, pl.Categorical | pl.Enum):
            found = found.cast(pl.String)
        if not is_usual(found.dtype):
            return _from_objects(name, found.to_list())
        return found.fill_nan(None) if found.dtype.is_float() else found
    kind = getattr(column, "dtype", None)
    if isinstance(kind, np.dtype) and kind.kind in "fiu" and not np.ma.isMaskedArray(column):
        found = pl.Series(name, np.asarray(column))
        return found.fill_nan(None) if kind.kind == "f" else found
    if hasattr(column, "to_pylist"):
        return _from_objects(name, column.to_pylist())
    return _from_objects(name, column.tolist() if hasattr(column, "tolist") else list(column))


def _from_objects(name: str, objects: list[Any]) -> pl.Series:
    """Return cells of any kind: floats if they all are, else text; terms that are nested stay."""
    cells = [None if _is_absent(cell) else cell for cell in objects]
    kinds = {type(cell) for cell in cells} - {type(None)}
    if kinds and kinds <= {float, np.float64}:
        return pl.Series(name, cells, dtype=pl.Float64)
    if name == TERMS and any(issubclass(kind, _NESTED) for kind in kinds):
        return pl.Series(name, cells, dtype=pl.Object)
    meant = {kind for kind in kinds if _is_meant(name, kind)}
    texts = [
        None if cell is None else str(cell) if type(cell) in meant else foreign(cell)
        for cell in cells
    ]
    found = pl.Series(name, texts, dtype=pl.String)
    # Whole numbers have their digits in either form; as numbers they do not ask for text back.
    whole = kinds == {int} and all(cell is None or abs(cell) <= _WHOLE for cell in cells)
    return found.cast(pl.Int64) if whole else found


def _is_meant(name: str, kind: type) -> bool:
    """Whether a cell of this kind says what its column asks for: a number, or a text."""
    if issubclass(kind, str):
        return True
    return name not in _WORDS and kind is not bool and issubclass(kind, _NUMBERS)


def _is_absent(cell: object) -> bool:
    """Say whether a cell is None, or one of the marks that do not equal themselves."""
    if cell is None:
        return True
    try:
        return bool(cell != cell)
    except (TypeError, ArithmeticError):
        # pandas' NA is neither true nor false, and a signalling NaN refuses to be compared.
        return True


def _joined(given: Any, answers: pl.DataFrame) -> Any:
    """Return a frame of the same library with the answers behind its own columns."""
    if isinstance(given, pl.DataFrame):
        return given.hstack(answers)
    if isinstance(given, pa.Table):
        added = answers.to_arrow(compat_level=pl.CompatLevel.oldest())
        for name in added.column_names:
            given = given.append_column(name, added[name])
        return given
    columns: dict[str, Any] = {
        # In the other libraries an absent float is NaN.
        name: answers[name].to_numpy() if kind == pl.Float64 else answers[name].to_list()
        for name, kind in answers.schema.items()
    }
    if not hasattr(given, "assign"):
        return type(given)({**{name: given[name] for name in _names(given)}, **columns})
    import pandas as pd

    # Of text pandas would make NaN of None, which is true where somebody asks `if row.error`.
    return given.assign(
        **{
            name: column
            if answers.schema[name] == pl.Float64
            else pd.Series(column, index=given.index, dtype=object)
            for name, column in columns.items()
        }
    )
