"""How a decision is answered: numbers as text with their digits, probabilities as JSON numbers.

Choice: an acceptance interval that accepts nothing says so, with the reason, beside its limits
(which are then crossed over, or null). A guard band that differs on the two sides is given for
each; where a limit is absent, the band of the other one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from decimal import Decimal
from typing import Any, cast

from api.rules import ENGINE_VERSION
from api.rules.decide import Acceptance, Decision
from api.rules.exact import Number, plain, reported_uncertainty, reported_value
from api.rules.limits import Limits


def decision_answer(
    decision: Decision, unit: str | None, rule: Mapping[str, Any]
) -> dict[str, Any]:
    """Return the JSON form of a decision, the verdict first; `rule` says which rule was applied."""
    answer: dict[str, Any] = {
        "verdict": decision.verdict,
        "limits": limits_answer(decision.limits),
        "acceptance": acceptance_answer(decision.acceptance),
        "guard_band": guard_band_answer(decision.acceptance),
        "conformance_probability": decision.conformance_probability,
        "specific_risk": decision.specific_risk,
    }
    for name in ("global_risk", "posterior"):
        if getattr(decision, name) is not None:
            answer[name] = getattr(decision, name)
    answer |= {
        "tur": _text(decision.tur),
        "statement": decision.statement,
    }
    # A request holds decimals only; Fractions come from limits in another unit.
    value, U = cast(Decimal, decision.value), cast(Decimal, decision.U)
    answer |= {"value": format(value, "f"), "U": format(U, "f"), "k": plain(decision.k)}
    if decision.dof is not None:
        answer["dof"] = plain(decision.dof)
    return answer | {
        "unit": unit,
        "reported": {
            "value": plain(reported_value(value, U)),
            "U": plain(reported_uncertainty(U)),
        },
        "rule": dict(rule),
        "engine_version": ENGINE_VERSION,
    }


def limits_answer(limits: Limits) -> dict[str, str | None]:
    """Return tolerance limits as text, null where there is none."""
    return {side: _text(limit) for side, limit in asdict(limits).items()}


def acceptance_answer(acceptance: Acceptance) -> dict[str, Any]:
    """Return acceptance limits as text; with `empty` and `reason` where no result passes."""
    answer: dict[str, Any] = {"lower": _text(acceptance.lower), "upper": _text(acceptance.upper)}
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
