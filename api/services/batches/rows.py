"""Rows of a batch that columns cannot settle: decided one by one, from their text, exactly.

Choice: text in, text out, by `api.rules.vector.decide_rows`. An acceptance limit is exact where
the guard band is a multiple of U, a share of the tolerance or a fixed width; where it comes from a
root or a solved risk it has 12 digits, as in a single decision. Under a rule with a precondition
each row has the limits of its branch.

Not checked: the cells; the row schema has passed them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import lru_cache

import numpy as np

from api.rules.acceptance import acceptance
from api.rules.branch_reasons import branch_of_each
from api.rules.branches import branches
from api.rules.decimals import acceptance_texts, exact_factors
from api.rules.exact import exact_arithmetic, inwards
from api.rules.kernel import Columns
from api.rules.limits import Limits
from api.rules.reported import REPORTED, reported_U
from api.rules.rule import Rule
from api.rules.settling import row_from_text
from api.rules.vector import COLUMNS, decide_rows

_SHORT = 30
# Where the maths names a part that is no column of its own.
_FIELDS = {"": "lower", "mean": "prior_mean", "sd": "prior_sd"}

Texts = Mapping[str, Sequence[str]]
Pair = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Rows:
    """Answers in the order of the rows: arrays, acceptance limits as text, errors by row."""

    found: Columns
    limits: tuple[list[str], list[str]]
    errors: dict[int, Pair]


def decide_one_by_one(columns: Texts, rule: Rule) -> Rows:
    """Decide rows whose cells are text, empty where there is nothing, by one rule."""
    texts = placed(columns)
    chosen = {name: texts[name] for name in COLUMNS if name in texts}
    found, errors = decide_rows(chosen, rule)
    wrong = {}
    for error in errors:
        name = error.field.strip("/").split("/")[0]
        wrong[error.row] = (_FIELDS.get(name, name), error.message)
    return Rows(found, _acceptance_texts(rule, texts, found), wrong)


def each_branch(columns: Texts, rule: Rule) -> list[tuple[int, str]]:
    """Return which branch of the rule decided each row, which has a verdict, and why."""
    texts = placed(columns)
    return branch_of_each(texts, rule, range(len(texts["U"])))


def placed(columns: Texts) -> dict[str, Sequence[str]]:
    """Turn nominal and tolerance into lower and upper, exactly, in the rows that give them."""
    texts = dict(columns)
    tolerances = texts.pop("tolerance", None)
    nominals = texts.pop("nominal", None)
    if tolerances is None or nominals is None:
        return texts
    around = lru_cache(10_000)(_around)  # a sheet has many rows of one requirement
    none = [""] * len(tolerances)
    given = zip(texts.get("lower", none), texts.get("upper", none), strict=True)
    pairs = [
        around(nominal, tolerance) if tolerance else pair
        for pair, nominal, tolerance in zip(given, nominals, tolerances, strict=True)
    ]
    texts["lower"], texts["upper"] = ([pair[side] for pair in pairs] for side in (0, 1))
    return texts


def _around(nominal: str, tolerance: str) -> Pair:
    limits = Limits.from_nominal(Decimal(nominal), tolerance)
    return str(limits.lower), str(limits.upper)


def _acceptance_texts(rule: Rule, texts: Texts, found: Columns) -> tuple[list[str], list[str]]:
    """Return the acceptance limits of both sides as text, empty where there is none."""
    if rule.precondition is None:
        return _limit_texts(rule, texts, found)
    size = len(texts["U"])
    both = [""] * size, [""] * size
    for number, one in enumerate(branches(rule), 1):
        rows = np.flatnonzero(found["branch"] == number).tolist()
        if one is None or not rows:
            continue
        some = {name: [column[row] for row in rows] for name, column in texts.items()}
        part = _limit_texts(one, some, {name: column[rows] for name, column in found.items()})
        for side, limits in zip(both, part, strict=True):
            for row, limit in zip(rows, limits, strict=True):
                side[row] = limit
    return both


def _limit_texts(rule: Rule, texts: Texts, found: Columns) -> tuple[list[str], list[str]]:
    if exact_factors(rule.guard) is None:
        both = [
            _solved(rule, {name: column[row] for name, column in texts.items()})
            if code >= 0
            else ("", "")
            for row, code in enumerate(found["verdict"].tolist())
        ]
        return [pair[0] for pair in both], [pair[1] for pair in both]
    none = [""] * len(texts["U"])
    cells = zip(texts["U"], texts.get("lower", none), texts.get("upper", none), strict=True)
    with exact_arithmetic():
        pairs = [
            _limits(rule, *row) if code >= 0 else ("", "")
            for code, row in zip(found["verdict"].tolist(), cells, strict=True)
        ]
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs]


def _limits(rule: Rule, U: str, lower: str, upper: str) -> Pair:
    guard, factors = rule.guard, exact_factors(rule.guard) or ()
    below, above = factors[0], factors[-1]
    if guard.factor is not None:
        decided_on = reported_U(Decimal(U)) if rule.decides_on == REPORTED else Decimal(U)
        below = above = below * decided_on
    elif guard.share is not None:
        below = above = below * (Decimal(upper) - Decimal(lower))
    return (
        _written(Decimal(lower) + below, ROUND_CEILING) if lower else "",
        _written(Decimal(upper) - above, ROUND_FLOOR) if upper else "",
    )


def _solved(rule: Rule, texts: Mapping[str, str]) -> Pair:
    row = row_from_text({name: texts[name] for name in COLUMNS if name in texts})
    accepted = acceptance(row.limits, row.U, rule, **row.circumstances())
    lower, upper = acceptance_texts(rule.guard, accepted.lower, accepted.upper)
    return lower or "", upper or ""


def _written(number: Decimal, rounding: str) -> str:
    """Return `inwards`, quickly for the numbers of every day."""
    text = format(number, "f")
    return text if number and len(text) < _SHORT else inwards(number, rounding)
