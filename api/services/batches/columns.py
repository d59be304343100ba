"""Columns of results: under which rule each row is decided, and what came out.

Choice: the rows of one rule go through the kernel in one piece, those on an edge through exact
decimals (`exact`), and what neither can settle one by one (`rows`), so that verdicts
equal those of single decisions. `masks` sets aside what cannot be decided at all.

Not checked: that the rows belong together, or that U is in the unit of the value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.rules.decide import VERDICTS
from api.rules.decimals import tidy_limits
from api.rules.exact import from_float, plain
from api.rules.kernel import GLOBAL_RISKS, LIMITS, POSTERIOR, RISKS, UNDECIDED, Columns
from api.rules.risk import Floats
from api.rules.rule import Rule
from api.rules.vector import decide_columns
from api.services.batches.exact import ExactLimits, exact_limits
from api.services.batches.masks import (
    NUMBERS,
    PRIOR,
    Explain,
    Faults,
    Some,
    Table,
    ask_the_schema,
    check_units,
    groups,
    read_table,
)
from api.services.batches.rows import Rows, decide_one_by_one

INPUTS = (*NUMBERS, *PRIOR, "unit", "rule")

_NAMES = pl.Series([*VERDICTS, None], dtype=pl.String)
_LIMIT_MAKERS = ("U", "lower", "upper", "nominal", "tolerance")


@dataclass(slots=True)
class Answers:
    """Answers in the order of the rows.

    `codes` are indices into VERDICTS, -1 where there is none; `limits` are columns of text, or of
    floats where the requirements were floats; a risk is NaN where it does not exist. `errors`
    holds, by row, the column that is wrong and why.
    """

    codes: NDArray[np.int8]
    limits: dict[str, pl.Series]
    risks: dict[str, Floats]
    errors: Faults = field(default_factory=dict)

    def verdicts(self) -> pl.Series:
        """Return the verdicts as text, null where there is none."""
        return _NAMES.gather(np.where(self.codes < 0, len(VERDICTS), self.codes))

    def fill(self, rows: Some, decided: Columns, limits: Mapping[str, pl.Series]) -> None:
        """Put verdicts, acceptance limits and risks in some rows."""
        risks = {name: decided[name] for name in self.risks if name in decided}
        if len(rows) == len(self.codes):
            self.codes = decided["verdict"]
            self.limits.update(limits)
            self.risks.update(risks)
            return
        self.codes[rows] = decided["verdict"]
        for name, texts in limits.items():
            self.limits[name] = self.limits[name].scatter(rows, texts)
        for name, column in risks.items():
            self.risks[name][rows] = column


def decide_frame(
    frame: pl.DataFrame,
    rules: Mapping[str, Rule],
    default_rule: Rule | None,
    explain: Explain,
    refused: Faults | None = None,
) -> Answers:
    """Decide the rows of a table by the columns of `INPUTS`; any may be missing.

    `rules` are those that a row may name, `default_rule` serves the rows that name none, `refused`
    are rows known to be wrong already, `explain` says what the row schema has against a row.
    """
    size, errors = frame.height, dict(refused or {})
    table = read_table(frame)
    check_units(frame, errors)
    ask_the_schema(frame, table.odd, explain, errors)
    given_prior = set(PRIOR) <= set(frame.columns)
    risks = (*RISKS, *(GLOBAL_RISKS + POSTERIOR if given_prior else ()))
    kind = pl.String if _limits_are_text(frame) else pl.Float64
    found = Answers(
        np.full(size, UNDECIDED, np.int8),
        {name: pl.Series(name, [None], kind).new_from_index(0, size) for name in LIMITS},
        {name: np.full(size, np.nan) for name in risks},
        errors,
    )
    for rule, rows in _by_rule(frame, rules, default_rule, errors):
        _decide_group(found, table.some(rows), rule, rows)
    return found


def _limits_are_text(frame: pl.DataFrame) -> bool:
    kinds = [frame.schema[name] for name in _LIMIT_MAKERS if name in frame.columns]
    floats = (kind == pl.Null or kind == pl.Float64 or kind.is_integer() for kind in kinds)
    return not (kinds and all(floats))


def _by_rule(
    frame: pl.DataFrame, rules: Mapping[str, Rule], default_rule: Rule | None, errors: Faults
) -> Iterator[tuple[Rule, Some]]:
    """Return the rows of each rule, without those that have an error; note unknown rules."""
    good = np.ones(frame.height, dtype=np.bool_)
    good[list(errors)] = False
    for name, group in groups(frame, "rule"):
        rows = group[good[group]]
        rule = rules.get(name) if name else default_rule
        if rule is not None and rows.size:
            yield rule, rows
        elif rule is None:
            wrong = f"decision rule {name!r} is not known" if name else "no decision rule is named"
            message = f"{wrong}; known rules: {', '.join(rules)}"
            errors.update((row, ("rule", message)) for row in rows.tolist())


def _decide_group(found: Answers, table: Table, rule: Rule, rows: Some) -> None:
    """Decide the rows of one rule and put the answers where they belong."""
    is_text = found.limits[LIMITS[0]].dtype == pl.String
    exact = exact_limits(rule, table.numbers) if is_text else None
    decided = _decided(table, rule, {*found.risks, *(LIMITS if exact is None else ())})
    slow = _unsettled(decided, table, exact, rule)
    if exact is not None:
        limits = exact.acceptance()
    elif is_text:
        limits = {name: _rounded(decided[name]) for name in LIMITS}
    else:
        makers = {"lower": table.lower, "upper": table.upper, "U": table.numbers["U"].floats}
        tidy_limits(decided, makers, rule.guard)
        limits = {name: pl.Series(decided[name]).fill_nan(None) for name in LIMITS}
    found.fill(rows, decided, limits)
    if slow.size:
        prior = PRIOR if table.numbers.keys() >= set(PRIOR) else ()
        names = [name for name in (*NUMBERS, *prior) if name in table.numbers]
        texts = {name: table.numbers[name].texts(slow) for name in names}
        _fill_slow(found, rows[slow], decide_one_by_one(texts, rule))


def _decided(table: Table, rule: Rule, wanted: set[str]) -> Columns:
    numbers = table.numbers
    k, mean, sd = (table.floats(name) for name in ("k", *PRIOR))
    return decide_columns(
        numbers["value"].floats,
        numbers["U"].floats,
        2.0 if k is None else np.where(np.isnan(k), 2.0, k),
        table.lower,
        table.upper,
        rule,
        table.floats("dof"),
        mean if sd is not None else None,
        sd if mean is not None else None,
        wanted,
    )


def _unsettled(decided: Columns, table: Table, exact: ExactLimits | None, rule: Rule) -> Some:
    """Return the rows that must be decided one by one; settle those on an edge, if possible."""
    open_: NDArray[np.bool_] = decided["exact_needed"] | table.odd
    if exact is None:
        return np.flatnonzero(open_)
    on_edge = decided["exact_needed"] & ~table.odd & ~np.isnan(decided["specific_risk"])
    rows = np.flatnonzero(on_edge)
    if rows.size:
        codes = exact.verdicts(table.numbers["value"], rows, rule.zones)
        decided["verdict"][rows] = codes
        open_[rows] = codes < 0
    return np.flatnonzero(open_ | ~exact.known)


def _fill_slow(found: Answers, rows: Some, slow: Rows) -> None:
    limits = {
        name: pl.Series([text or None for text in texts], dtype=pl.String).cast(
            found.limits[name].dtype
        )
        for name, texts in zip(LIMITS, slow.limits, strict=True)
    }
    found.fill(rows, slow.found, limits)
    found.errors.update((int(rows[row]), fault) for row, fault in slow.errors.items())


def _rounded(limits: Floats) -> pl.Series:
    """Return solved limits as text of 15 digits."""
    texts = [None if limit != limit else plain(from_float(limit)) for limit in limits.tolist()]
    return pl.Series(texts, dtype=pl.String)
