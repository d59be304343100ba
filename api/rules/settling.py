"""Rows that floats cannot settle: decided one by one, from their text, in place.

Choice: the arithmetic of a single decision, so that a verdict on a limit, or of a branch whose
precondition holds exactly, is that of the single decision; and so are the messages.

Not checked: units; a row has one for all.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from typing import Any

import numpy as np

from api.rules.acceptance import Prior, acceptance, refuse_unusable
from api.rules.branches import choose
from api.rules.decide import decide
from api.rules.exact import FieldError, Number, finite
from api.rules.kernel import GLOBAL_RISKS, LIMITS, POSTERIOR, RISKS, Columns
from api.rules.limits import Limits
from api.rules.reported import REPORTED, as_reported
from api.rules.rule import NO_STATEMENT, Rule, RuleError
from api.rules.verdicts import VERDICTS, verdict

NEEDED = ("value", "U")
PAIR = ("prior_mean", "prior_sd")

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
            given = row_from_text(texts).decided_on(rule)
            branch = choose(rule, given.limits, given.U, k=given.k, dof=given.dof)
            zone, limits = _exactly(given, branch.rule)
        except FieldError as error:
            # A rule's own pointers start inside the rule.
            prefix = "/rule" if isinstance(error, RuleError) else ""
            errors.append(RowError(row, prefix + error.field, str(error)))
            if "branch" in found:
                found["branch"][row] = 0
            continue
        found["verdict"][row] = VERDICTS.index(zone)
        if branch.checks:
            found["branch"][row] = branch.number
        _fill(found, row, LIMITS, limits)
        if unknown[row]:
            _fill_risks(found, row, given, rule)
    return errors


@dataclass(frozen=True, slots=True)
class Row:
    """One row of decimal text, read."""

    value: Number
    U: Decimal
    limits: Limits
    k: Decimal
    dof: Decimal | None
    prior: Prior | None

    def decided_on(self, rule: Rule) -> "Row":
        """Return the row with the numbers that the rule decides on."""
        if rule.decides_on != REPORTED:
            return self
        refuse_unusable(self.U, self.k, self.dof)
        value, U = as_reported(self.value, self.U)
        return replace(self, value=value, U=U)

    def circumstances(self) -> dict[str, Any]:
        """Return the keyword arguments of `acceptance` and `decide`."""
        return {"k": self.k, "dof": self.dof, "prior": self.prior}


def _exactly(given: Row, rule: Rule | None) -> tuple[str, tuple[Number | None, Number | None]]:
    """Return the verdict of one row and its acceptance limits; no rule makes no statement."""
    if rule is None:
        return NO_STATEMENT, (None, None)
    accepted = acceptance(given.limits, given.U, rule, **given.circumstances())
    zone = verdict(given.value, given.limits, accepted, rule.zones)
    return zone, (accepted.lower, accepted.upper)


def row_from_text(texts: Mapping[str, str | None]) -> Row:
    """Read one row; raise FieldError with the column that is wrong."""
    numbers = {
        name: _number(text, f"/{name}")
        for name, text in texts.items()
        if text not in (None, "") or name in NEEDED
    }
    missing = [name for name in PAIR if name not in numbers]
    if len(missing) == 1:
        raise FieldError(f"/{missing[0]}", "a prior needs both prior_mean and prior_sd")
    return Row(
        numbers["value"],
        numbers["U"],
        Limits(numbers.get("lower"), numbers.get("upper")),
        numbers.get("k", Decimal(2)),
        numbers.get("dof"),
        None if missing else Prior(*(numbers[name] for name in PAIR)),
    )


def _fill_risks(found: Columns, row: int, given: Row, rule: Rule) -> None:
    alone = decide(given.value, given.U, given.limits, rule, **given.circumstances())
    _fill(found, row, RISKS, (alone.specific_risk["consumer"], alone.conformance_probability))
    if alone.global_risk is not None:
        _fill(found, row, GLOBAL_RISKS, alone.global_risk.values())
    if alone.posterior is not None:
        _fill(found, row, POSTERIOR, alone.posterior.values())


def _fill(
    found: Columns, row: int, names: Sequence[str], numbers: Iterable[Number | float | None]
) -> None:
    for name, number in zip(names, numbers, strict=True):
        found[name][row] = np.nan if number is None else float(number)


def _number(text: str | None, field: str) -> Decimal:
    if text is None or text == "":
        raise FieldError(field, "a number is needed")
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise FieldError(field, f"{text!r} is not a number") from None
    finite(number, field.removeprefix("/"))
    return number
