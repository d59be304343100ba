"""Result rows of a calibration: numbers as recorded, limits and rule resolved once.

A result is relative where it gives `error_rel_pct` and no absolute error; its limits are then in
percentage points. The limits stay as they were when the result was recorded, whatever becomes of
the specification they came from.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Any

from api.errors import UnknownReference
from api.rules.limits import LimitsError, tolerance_offsets
from api.rules.units import is_force, to_newton
from api.services.base.record import Record
from api.services.base.recording import Recording, remarks
from api.services.certificates.agreed import Terms
from api.services.decisions.decision_rules import ensure_rule
from api.services.decisions.specifications import (
    Definition,
    limits_of_error,
    resolve_specification,
)
from api.services.uncertainty.budget_links import BudgetRows
from graph.model import VALUE_STAGES

COLUMNS = (
    "point",
    "stage",
    "direction",
    "unit",
    "applied",
    "indicated",
    "error",
    "U",
    "k",
    "dof",
    "error_rel_pct",
    "U_rel_pct",
    "verdict_reported",
    "note",
)
_OF_BUDGET = ("U", "U_rel_pct", "k", "dof")
_EXACT_DIGITS = 200  # more than two recorded numbers can have when multiplied


def is_relative(result: Mapping[str, Any]) -> bool:
    """Whether a result states its error in percent of the applied force only."""
    return result.get("error_rel_pct") is not None and result.get("error") is None


@dataclass(slots=True)
class ResultRows:
    """Makes result rows, asking for each rule, specification and budget once."""

    recording: Recording
    rules: dict[str, int | UnknownReference] = field(default_factory=dict)
    specifications: dict[tuple[str, int | None], tuple[Definition, int]] = field(
        default_factory=dict
    )
    budgets: BudgetRows = field(init=False)

    def __post_init__(self) -> None:
        self.budgets = BudgetRows(self.recording)

    def row(
        self, result: Record, position: int, place: str, agreed: Terms | None = None
    ) -> dict[str, Any]:
        """Return the row of one result; faults are noted at `place`.

        What was agreed gives the rule of a result that has limits and names none, and the version
        of a rule or specification that is named without one.
        """
        limits = self._limits(result, place, agreed)
        named = result.get("rule")
        if agreed is not None and (named == agreed.rule or (named is None and limits is not None)):
            rule_id: int | None = agreed.rule_id
        else:
            rule_id = self._rule(named, f"{place}/rule")
        of_budget = self.budgets.taken(result, place)
        return {
            "position": position,
            **{name: result.get(name) for name in COLUMNS},
            "tolerance": _sent(result.get("tolerance")),
            "tolerance_rel_pct": _sent(result.get("tolerance_rel_pct")),
            "limit_lower": None if limits is None else limits[0],
            "limit_upper": None if limits is None else limits[1],
            "rule_id": rule_id,
            "specification_id": self._specification(result, agreed),
            "remarks": remarks(result),
            "run_evaluation_id": result.get("run_evaluation"),
            "setup_check_id": result.get("set_up_check"),
            "taken": _taken(result, of_budget),
            **of_budget,
        }

    def _rule(self, code: str | None, place: str) -> int | None:
        if code is None:
            return None
        if code not in self.rules:
            try:
                self.rules[code] = ensure_rule(self.recording.session, code)
            except UnknownReference as unknown:
                self.rules[code] = unknown
        found = self.rules[code]
        if isinstance(found, int):
            return found
        remedy = found.issues[0].remedy if found.issues else "record the rule first"
        self.recording.lacks("rules", code, place, found.detail, remedy)
        return None

    def _specification(self, result: Record, agreed: Terms | None) -> int | None:
        code = result.get(_tolerance_name(result))
        if not isinstance(code, str):
            return None
        known = self.specifications.get((code, _version(code, agreed)))
        return None if known is None else known[1]

    def _definition(self, code: str, agreed: Terms | None) -> Definition:
        name = code, _version(code, agreed)
        if name not in self.specifications:
            self.specifications[name] = resolve_specification(self.recording.session, *name)
        return self.specifications[name][0]

    def _limits(
        self, result: Record, place: str, agreed: Terms | None
    ) -> tuple[Decimal | None, Decimal | None] | None:
        """Signed limits of the error, in its own unit or in percentage points."""
        name = _tolerance_name(result)
        tolerance = result.get(name)
        if tolerance is None:
            return None
        try:
            if isinstance(tolerance, str):
                limits = limits_of_error(self._definition(tolerance, agreed), result)
                return limits.lower, limits.upper
            offsets = tolerance_offsets(tolerance)
            if is_relative(result) == (name == "tolerance_rel_pct"):
                return offsets
            return _in_unit(offsets, result)
        except (LimitsError, UnknownReference) as error:
            remedy = "give a number, lower and upper, or the id of a recorded specification"
            place = f"{place}/{name}"
            if isinstance(error, UnknownReference):
                self.recording.lacks("specifications", tolerance, place, str(error), remedy)
            else:
                self.recording.refuse(place, str(error), remedy, tolerance)
            return None


def _taken(result: Mapping[str, Any], of_budget: Mapping[str, Any]) -> Record | None:
    """Return which numbers of a result its runs and its budget give; None where none do."""
    found = {}
    if result.get("taken"):
        found["run_evaluation"] = result["taken"]
    if of_budget["budget_id"] is not None:
        found["budget"] = [
            name for name in _OF_BUDGET if name in of_budget or result.get(name) is not None
        ]
    return found or None


def calibrated_span(results: Iterable[Mapping[Any, Any]]) -> tuple[str, str] | None:
    """Return the ends of the range of force that results calibrated, zero left out.

    In newton, as fractions in text: of the stage whose values serve (as left, else single, else as
    found). None where no force is recorded.
    """
    forces: dict[str, list[Fraction]] = {stage: [] for stage in VALUE_STAGES}
    for one in results:
        if one["applied"] and is_force(one["unit"]):
            forces[one["stage"]].append(to_newton(one["applied"], one["unit"]))
    serving = next((found for found in forces.values() if found), None)
    return None if serving is None else (str(min(serving)), str(max(serving)))


def _version(code: str, agreed: Terms | None) -> int | None:
    """Return the version of a specification that was agreed; None is the latest."""
    if agreed is None or agreed.specification != code:
        return None
    return agreed.specification_version


def _tolerance_name(result: Mapping[str, Any]) -> str:
    """Which tolerance holds: that in the terms of the error, else the other one."""
    names = ("tolerance_rel_pct", "tolerance")
    own, other = names if is_relative(result) else reversed(names)
    return own if result.get(own) is not None else other


def _in_unit(
    percent: tuple[Decimal | None, Decimal | None], result: Mapping[str, Any]
) -> tuple[Decimal | None, Decimal | None]:
    """Limits of an absolute error whose tolerance is in percent of the applied force."""
    if is_relative(result):
        # The quotient need not end, and a result on its limit must stay on it.
        raise LimitsError("", "an error in percent needs its tolerance in percent")
    if result.get("applied") is None:
        raise LimitsError("", "a tolerance in percent needs the applied force")
    with localcontext(prec=_EXACT_DIGITS):
        scale = abs(result["applied"]) / 100
        lower, upper = (None if limit is None else limit * scale for limit in percent)
    return lower, upper


def _sent(tolerance: Any) -> Any:
    """Return a tolerance as JSON keeps it: numbers as text with their digits."""
    if isinstance(tolerance, Decimal):
        return format(tolerance, "f")
    if isinstance(tolerance, Mapping):
        return {side: format(limit, "f") for side, limit in tolerance.items()}
    return tolerance
