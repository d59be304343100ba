"""Columns of results: under which rule each row is decided, and what came out.

Choice: the rows of one rule go through the kernel in one piece, those on an edge through exact
decimals (`exact`), and what neither can settle one by one (`rows`), so that verdicts
equal those of single decisions. The rows of a rule with a precondition go branch by branch. `masks`
sets aside what cannot be decided at all.

Not checked: that the rows belong together, or that U is in the unit of the value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.rules.bands import Rows as FloatRows
from api.rules.branch_columns import UNSETTLED, branch_numbers
from api.rules.branches import branches
from api.rules.decide import VERDICTS
from api.rules.decimals import tidy_limits
from api.rules.kernel import GLOBAL_RISKS, LIMITS, POSTERIOR, RISKS, UNDECIDED, Columns
from api.rules.offsets import Seen
from api.rules.risk import Floats
from api.rules.rule import BUILT_IN, Rule
from api.rules.vector import decide_columns, state_nothing
from api.services.batches.derived import (
    DERIVED,
    RELATIVE,
    Specify,
    no_specifications,
    worked_out,
)
from api.services.batches.distances import by_digits
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
from api.services.batches.rows import Rows, decide_one_by_one, each_branch
from api.services.batches.solved_limits import solved_limits

INPUTS = (*NUMBERS, *PRIOR, *DERIVED, "unit", "rule")

_NAMES = pl.Series([*VERDICTS, None], dtype=pl.String)
_LIMIT_MAKERS = ("U", RELATIVE, "lower", "upper", "nominal", "tolerance")


@dataclass(slots=True)
class Branches:
    """Which branch of its rule decided each row, from 1, and why; 0 and None where there is one."""

    numbers: NDArray[np.int8]
    reasons: pl.Series

    @classmethod
    def none(cls, size: int) -> Branches:
        """Return those of rows that nothing has decided yet."""
        reasons = pl.Series([None], dtype=pl.String).new_from_index(0, size)
        return cls(np.zeros(size, dtype=np.int8), reasons)


@dataclass(slots=True)
class Answers:
    """Answers in the order of the rows.

    `codes` are indices into VERDICTS, -1 where there is none; `limits` are columns of text, or of
    floats where the requirements were floats; a risk is NaN where it does not exist. `errors`
    holds, by row, the column that is wrong and why; `branch` is None where no rule that may serve
    has a precondition.
    """

    codes: NDArray[np.int8]
    limits: dict[str, pl.Series]
    risks: dict[str, Floats]
    errors: Faults = field(default_factory=dict)
    branch: Branches | None = None

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
    specify: Specify = no_specifications,
) -> Answers:
    """Decide the rows of a table by the columns of `INPUTS`; any may be missing.

    `rules` are those that a row may name, `default_rule` serves the rows that name none, `refused`
    are rows known to be wrong already, `explain` says what the row schema has against a row,
    `specify` gives the limits of a specification.
    """
    size, errors = frame.height, dict(refused or {})
    kind = pl.String if _limits_are_text(frame) else pl.Float64
    check_units(frame, errors)
    frame = worked_out(frame, (*NUMBERS, *PRIOR), explain, specify, errors)
    table = read_table(frame)
    ask_the_schema(frame, table.odd, explain, errors)
    given_prior = set(PRIOR) <= set(frame.columns)
    risks = (*RISKS, *(GLOBAL_RISKS + POSTERIOR if given_prior else ()))
    found = Answers(
        np.full(size, UNDECIDED, np.int8),
        {name: pl.Series(name, [None], kind).new_from_index(0, size) for name in LIMITS},
        {name: np.full(size, np.nan) for name in risks},
        errors,
        Branches.none(size) if _may_branch(frame, rules, default_rule) else None,
    )
    for rule, rows in _by_rule(frame, rules, default_rule, errors):
        _decide_group(found, table.some(rows), rule, rows)
    return found


def _may_branch(frame: pl.DataFrame, rules: Mapping[str, Rule], default_rule: Rule | None) -> bool:
    """Say whether a rule with a precondition may serve a row, by the columns and not by the cells.

    So all pieces of a table have the same answers.
    """
    serving = [] if default_rule is None else [default_rule]
    serving += rules.values() if "rule" in frame.columns else ()
    return any(rule.precondition is not None for rule in serving)


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
    if rule.precondition is not None:
        _decide_branches(found, table, rule, rows)
        return
    is_text = found.limits[LIMITS[0]].dtype == pl.String
    exact = exact_limits(rule, table.numbers) if is_text else None
    digits = by_digits(table)
    if is_text and exact is None:
        digits[1].band(rule.guard)
    wanted = {*found.risks, *(LIMITS if exact is None else ())}
    decided = _decided(table, rule, wanted, digits)
    slow = _unsettled(decided, table, exact, rule)
    if exact is not None:
        limits = exact.acceptance()
    elif is_text:
        limits, unsure = solved_limits(decided, digits[1], rule)
        slow = np.union1d(slow, unsure)
    else:
        makers = {"lower": table.lower, "upper": table.upper, "U": table.numbers["U"].floats}
        tidy_limits(decided, makers, rule.guard)
        limits = {name: pl.Series(decided[name]).fill_nan(None) for name in LIMITS}
    found.fill(rows, decided, limits)
    _decide_slow(found, table, rule, rows, slow)


def _decide_slow(found: Answers, table: Table, rule: Rule, rows: Some, slow: Some) -> None:
    if slow.size:
        texts = _texts(table, slow)
        _fill_slow(found, rows[slow], decide_one_by_one(texts, rule))


def _texts(table: Table, some: Some) -> dict[str, list[str]]:
    prior = PRIOR if table.numbers.keys() >= set(PRIOR) else ()
    names = [name for name in (*NUMBERS, *prior) if name in table.numbers]
    return {name: table.numbers[name].texts(some) for name in names}


def _decide_branches(found: Answers, table: Table, rule: Rule, rows: Some) -> None:
    """Decide the rows of a rule with a precondition, each with those of its branch."""
    numbers = _branch_numbers(table, rule)
    for number, one in enumerate((None, *branches(rule))):
        some = np.flatnonzero(numbers == number)
        if not some.size:
            continue
        if number == UNSETTLED:
            _decide_slow(found, table, rule, rows, some)
        elif one is None:
            _state_nothing(found, table.some(some), rule, rows[some])
        else:
            _decide_group(found, table.some(some), one, rows[some])
    decided = np.flatnonzero(found.codes[rows] != UNDECIDED)
    if found.branch is None or not decided.size:
        return
    told, reasons = zip(*each_branch(_texts(table, decided), rule), strict=True)
    found.branch.numbers[rows[decided]] = told
    found.branch.reasons = found.branch.reasons.scatter(
        rows[decided], pl.Series(reasons, dtype=pl.String)
    )


def _branch_numbers(table: Table, rule: Rule) -> NDArray[np.int8]:
    """Return the branch of each row, UNSETTLED where only its text can tell."""
    numbers, k = table.numbers, table.floats("k")
    value = numbers["value"].floats
    k = np.full(len(value), 2.0) if k is None else np.where(np.isnan(k), 2.0, k)
    given = FloatRows(value, numbers["U"].floats, k, table.lower, table.upper, table.floats("dof"))
    found = branch_numbers(rule, given)
    found[table.odd] = UNSETTLED
    return found


def _state_nothing(found: Answers, table: Table, rule: Rule, rows: Some) -> None:
    """Fill in rows of which the rule states nothing: their risks, and no acceptance limits."""
    decided = _decided(table, BUILT_IN["simple"], {*found.risks, *LIMITS}, by_digits(table))
    slow = np.flatnonzero(decided["exact_needed"])
    state_nothing(decided)
    kind = found.limits[LIMITS[0]].dtype
    nothing = pl.Series([None], dtype=kind).new_from_index(0, len(rows))
    found.fill(rows, decided, dict.fromkeys(LIMITS, nothing))
    _decide_slow(found, table, rule, rows, slow)


def _decided(
    table: Table, rule: Rule, wanted: set[str], digits: tuple[tuple[Floats, Floats], Seen]
) -> Columns:
    numbers = table.numbers
    k, mean, sd = (table.floats(name) for name in ("k", *PRIOR))
    distances, seen = digits
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
        distances,
        seen,
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
