"""How a decision is answered: numbers as text with their digits, probabilities as JSON numbers.

Choice: an acceptance interval that accepts nothing says so, with the reason, beside its limits
(which are then crossed over, or null). A guard band that differs on the two sides is given for
each; where a limit is absent, the band of the other one.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, cast

from api.rules import ENGINE_VERSION
from api.rules.branches import Branch
from api.rules.decide import Acceptance, Decision, Prior
from api.rules.decimals import acceptance_texts
from api.rules.exact import Number, plain, ratio
from api.rules.limits import Limits
from api.rules.reported import as_reported
from api.rules.rule import Rule


def decision_answer(
    decision: Decision,
    unit: str | None,
    rule: Mapping[str, Any],
    prior: Prior | None = None,
    asked: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Return the JSON form of a decision, the verdict first; `rule` says which rule was applied.

    `prior` is the one that was used, `asked` what the request said of it.
    """
    answer: dict[str, Any] = {
        "verdict": decision.verdict,
        "limits": limits_answer(decision.limits),
        "acceptance": acceptance_answer(decision.acceptance, decision.branch.rule),
        "guard_band": guard_band_answer(decision.acceptance),
        "conformance_probability": decision.conformance_probability,
        "specific_risk": decision.specific_risk,
    }
    if decision.global_risk is not None:
        answer["global_risk"] = decision.global_risk
    if decision.posterior is not None:
        answer["posterior"] = decision.posterior
    if prior is not None:
        answer["prior"] = {"mean": plain(prior.mean), "sd": plain(prior.sd)}
        if asked is not None and "reliability" in asked:
            answer["prior"]["reliability"] = plain(asked["reliability"])
    answer["tur"] = _text(decision.tur)
    answer["capability"] = _text(decision.capability)
    answer["statement"] = decision.statement
    # The value's unit is that of the answer, so it is a decimal; U may have been converted.
    value = cast(Decimal, decision.value)
    U = decision.U if isinstance(decision.U, Decimal) else ratio(decision.U, Decimal(1))
    answer["value"] = format(value, "f")
    answer["U"] = format(U, "f") if U is decision.U else plain(decision.U)
    answer["k"] = plain(decision.k)
    if decision.dof is not None:
        answer["dof"] = plain(decision.dof)
    if decision.density is not None:
        answer["density"] = decision.density.to_mapping()
    answer["unit"] = unit
    answer["reported"] = reported_answer(value, U)
    answer["rule"] = dict(rule)
    if decision.branch.checks:
        answer["branch"] = branch_answer(decision.branch)
    answer["engine_version"] = ENGINE_VERSION
    return answer


def reported_answer(value: Number, U: Number) -> dict[str, str]:
    """Return value and U as a certificate reports them."""
    shown, of_U = as_reported(value, U)
    return {"value": plain(shown), "U": plain(of_U)}


def branch_answer(branch: Branch) -> dict[str, Any]:
    """Return which branch of a rule decided and why; `decides` is null where nothing is stated."""
    rule = branch.rule
    decides = None if rule is None else {"guard": rule.guard.to_mapping(), "zones": rule.zones}
    return {
        "number": branch.number,
        "decides": decides,
        "reason": branch.reason,
        "preconditions": [check.to_mapping() for check in branch.checks],
    }


def limits_answer(limits: Limits) -> dict[str, str | None]:
    """Return tolerance limits as text, null where there is none."""
    return {"lower": _text(limits.lower), "upper": _text(limits.upper)}


def acceptance_answer(acceptance: Acceptance, rule: Rule | None) -> dict[str, Any]:
    """Return the acceptance limits of a rule, None if it states nothing, as text.

    With `empty` and `reason` where no result passes.
    """
    guard = None if rule is None else rule.guard
    lower, upper = acceptance_texts(guard, acceptance.lower, acceptance.upper)
    answer: dict[str, Any] = {"lower": lower, "upper": upper}
    if acceptance.empty:
        answer |= {"empty": True, "reason": acceptance.reason}
    return answer


def guard_band_answer(acceptance: Acceptance) -> str | dict[str, str | None] | None:
    """Return the guard band w as text, or both where they differ."""
    lower, upper = acceptance.guard_lower, acceptance.guard_upper
    if lower is None or upper is None or lower == upper:
        return _text(upper if lower is None else lower)
    return {"lower": _text(lower), "upper": _text(upper)}


def _text(number: Number | None) -> str | None:
    return None if number is None else plain(number)
