"""Columns of results: which rows can be decided, under which rule, and what came out.

Choice: text in, text out. Rows that say something impossible (an unknown rule or unit, a word where
a number belongs, two requirements at once) are set aside with the reason; the others go to
`api.rules.vector` in one piece per rule, so that verdicts equal those of single decisions. An
acceptance limit is exact where the guard band is a multiple of U, a share of the tolerance or a
fixed width; where it comes from a root or a solved risk it has 15 digits.

Not checked: that the rows belong together, or that U is in the unit of the value.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from typing import Any

import numpy as np

from api.rules.decide import VERDICTS
from api.rules.exact import exact_arithmetic, from_float, plain
from api.rules.kernel import LIMITS
from api.rules.limits import Limits, LimitsError
from api.rules.risk import Floats
from api.rules.rule import Rule
from api.rules.units import UnknownUnit
from api.rules.vector import COLUMNS, decide_rows
from api.services.units import check_unit

NUMBERS = ("value", "U", "k", "dof", "lower", "upper", "nominal", "tolerance")
PRIOR = ("prior_mean", "prior_sd")
INPUTS = (*NUMBERS, *PRIOR, "unit", "rule")

_SHORT = 30
_PLAIN_NUMBERS = frozenset("0123456789+-.eE")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,9})?")
# Where the maths names a part that is no column of its own.
_FIELDS = {"": "lower", "mean": "prior_mean", "sd": "prior_sd"}

Texts = Mapping[str, Sequence[str]]


@dataclass(slots=True)
class Decided:
    """Answers in the order of the rows.

    Text columns are empty where there is nothing to say; a float column is NaN where a risk does
    not exist. `errors` holds, by row, the column that is wrong and why.
    """

    verdict: list[str]
    acceptance_lower: list[str]
    acceptance_upper: list[str]
    risks: dict[str, Floats] = field(default_factory=dict)
    errors: dict[int, tuple[str, str]] = field(default_factory=dict)


def is_number(text: str) -> bool:
    """Say whether a cell is a plain decimal number.

    >>> is_number("-1.5e3"), is_number("NaN"), is_number("")
    (True, False, False)
    """
    return _NUMBER.fullmatch(text) is not None


def decide_texts(
    columns: Texts,
    size: int,
    rules: Mapping[str, Rule],
    default_rule: Rule | None = None,
    refused: Mapping[int, tuple[str, str]] | None = None,
) -> Decided:
    """Decide `size` rows whose cells are text, empty where there is nothing.

    Columns are those of `INPUTS`; any may be missing. `rules` are those that a row may name,
    `default_rule` serves the rows that name none, `refused` are rows known to be wrong already.
    """
    errors = dict(refused or {})
    texts = {name: _clean(columns[name], name, errors) for name in columns if name in INPUTS}
    _check_units(texts.get("unit", ()), errors)
    _place_limits(texts, size, errors)
    found = Decided([""] * size, [""] * size, [""] * size, errors=errors)
    for rule, rows in _by_rule(texts.get("rule"), size, rules, default_rule, errors):
        _decide_group(found, texts, rule, rows)
    return found


def _decide_group(found: Decided, texts: Texts, rule: Rule, rows: Sequence[int]) -> None:
    """Decide the rows of one rule and put the answers where they belong."""
    size = len(found.verdict)
    chosen = {
        name: column if len(rows) == size else [column[row] for row in rows]
        for name, column in texts.items()
        if name in COLUMNS
    }
    for needed in ("value", "U"):
        chosen.setdefault(needed, [""] * len(rows))
    decided, errors = decide_rows(chosen, rule)
    for error in errors:
        name = error.field.strip("/").split("/")[0]
        found.errors[rows[error.row]] = (_FIELDS.get(name, name), error.message)
    limits = _acceptance_texts(rule, chosen, decided)
    names = [VERDICTS[code] if code >= 0 else "" for code in decided["verdict"].tolist()]
    for row, name, lower, upper in zip(rows, names, *limits, strict=True):
        if name:
            found.verdict[row] = name
            found.acceptance_lower[row], found.acceptance_upper[row] = lower, upper
    for name, column in decided.items():
        if name not in ("verdict", "exact_needed", *LIMITS):
            whole = found.risks.setdefault(name, np.full(size, np.nan))
            whole[rows] = column


def _by_rule(
    named: Sequence[str] | None,
    size: int,
    rules: Mapping[str, Rule],
    default_rule: Rule | None,
    errors: dict[int, tuple[str, str]],
) -> Iterable[tuple[Rule, Sequence[int]]]:
    """Return the rows of each rule, without those that have an error; note unknown rules."""
    by_code: dict[str, list[int]] = {}
    for row, code in enumerate(named if named is not None else [""] * size):
        if row not in errors:
            by_code.setdefault(code, []).append(row)
    groups = []
    for code, rows in by_code.items():
        rule = rules.get(code) if code else default_rule
        if rule is not None:
            groups.append((rule, rows))
            continue
        wrong = f"decision rule {code!r} is not known" if code else "no decision rule is named"
        message = f"{wrong}; known rules: {', '.join(rules)}"
        errors.update((row, ("rule", message)) for row in rows)
    return groups


def _clean(cells: Sequence[str], name: str, errors: dict[int, tuple[str, str]]) -> Sequence[str]:
    """Return a column without spaces around its cells; note cells that are no numbers."""
    if name not in (*NUMBERS, *PRIOR):
        return [cell.strip() for cell in cells]
    # One look at all characters settles most columns; the kernel reads what is left, like "1-2".
    if _PLAIN_NUMBERS.issuperset("".join(cells)):
        return cells
    stripped = [cell.strip() for cell in cells]
    for row, cell in enumerate(stripped):
        if cell and not is_number(cell):
            errors.setdefault(row, (name, f"{cell!r} is not a number"))
    return stripped


def _check_units(units: Sequence[str], errors: dict[int, tuple[str, str]]) -> None:
    wrong: dict[str, str] = {}
    for unit in set(units) - {""}:
        try:
            check_unit(unit)
        except UnknownUnit as unknown:
            wrong[unit] = str(unknown)
    if wrong:
        for row, unit in enumerate(units):
            if unit in wrong:
                errors.setdefault(row, ("unit", wrong[unit]))


def _place_limits(
    texts: dict[str, Sequence[str]], size: int, errors: dict[int, tuple[str, str]]
) -> None:
    """Turn nominal and tolerance into lower and upper, exactly, in the rows that give them."""
    tolerances = texts.get("tolerance")
    if tolerances is None or not any(tolerances):
        return
    nominals = texts.get("nominal", [""] * size)
    sides = {name: list(texts.get(name, [""] * size)) for name in ("lower", "upper")}
    around = lru_cache(10_000)(_around)  # a sheet has many rows of one requirement
    for row, tolerance in enumerate(tolerances):
        if not tolerance or row in errors:
            continue
        if sides["lower"][row] or sides["upper"][row]:
            errors[row] = ("tolerance", "limits and a tolerance are given; send one of them")
            continue
        try:
            sides["lower"][row], sides["upper"][row] = around(nominals[row], tolerance)
        except LimitsError as error:
            errors[row] = (error.field.strip("/"), str(error))
    texts.update(sides)


def _around(nominal: str, tolerance: str) -> tuple[str, str]:
    if not nominal:
        raise LimitsError("/nominal", "a tolerance needs a nominal value; 0 for an error")
    try:
        limits = Limits.from_nominal(Decimal(nominal), tolerance)
    except InvalidOperation:
        raise LimitsError("/nominal", f"{nominal!r} is not a number") from None
    return str(limits.lower), str(limits.upper)


def _acceptance_texts(
    rule: Rule, texts: Texts, decided: Mapping[str, Any]
) -> tuple[list[str], list[str]]:
    """Return the acceptance limits of both sides as text, empty where there is none."""
    band = _exact_band(rule)
    if band is None:
        return tuple(  # type: ignore[return-value]  # two columns in, two columns out
            [
                "" if np.isnan(limit) else plain(from_float(limit))
                for limit in decided[name].tolist()
            ]
            for name in LIMITS
        )
    none = [""] * len(texts["U"])
    lowers, uppers = texts.get("lower", none), texts.get("upper", none)
    found: tuple[list[str], list[str]] = ([], [])
    with exact_arithmetic():
        for code, U, lower, upper in zip(
            decided["verdict"].tolist(), texts["U"], lowers, uppers, strict=True
        ):
            if code < 0:
                pair = ("", "")
            else:
                below, above = band(U, lower, upper)
                pair = (
                    _written(Decimal(lower) + below) if lower else "",
                    _written(Decimal(upper) - above) if upper else "",
                )
            found[0].append(pair[0])
            found[1].append(pair[1])
    return found


def _written(number: Decimal) -> str:
    """Return `plain(number)`, quickly for the numbers of every day."""
    text = format(number, "f")
    return text if number and len(text) < _SHORT else plain(number)


Band = Callable[[str, str, str], tuple[Decimal, Decimal]]


def _exact_band(rule: Rule) -> Band | None:
    """Return w for both sides as a function of U and the limits, if it needs no root."""
    guard = rule.guard
    if guard.basis == "none":
        nothing = (Decimal(0), Decimal(0))
        return lambda U, lower, upper: nothing
    if guard.width is not None:
        width = guard.width
        return lambda U, lower, upper: width
    if guard.factor is not None:
        factor = guard.factor

        def multiple(U: str, lower: str, upper: str) -> tuple[Decimal, Decimal]:
            w = factor * Decimal(U)
            return w, w

        return multiple
    if guard.share is not None:
        share = guard.share * Decimal("0.5")

        def part(U: str, lower: str, upper: str) -> tuple[Decimal, Decimal]:
            w = share * (Decimal(upper) - Decimal(lower))
            return w, w

        return part
    return None
