"""What a decision rule means, in words and by one example.

The example is the same for every rule, so that rules can be compared: limits of -1 and +1, U = 0.2
with k = 2 (TUR 5) and, where a rule needs a prior, mean 0 and standard deviation 0.5. Its worst
specific risk is that of a result on an acceptance limit: no accepted result has a greater one,
because the probability of conforming is largest in the middle and falls towards both limits.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import zip_longest
from typing import Any

from api.rules.branches import branches, choose
from api.rules.decide import Prior, acceptance, decide, nothing_stated
from api.rules.limits import Limits
from api.rules.reported import REPORTED
from api.rules.rule import BUILT_IN, Rule
from api.rules.wording import describe_guard
from api.services.decisions.answers import (
    acceptance_answer,
    branch_answer,
    guard_band_answer,
    limits_answer,
)

_LIMITS = Limits(Decimal(-1), Decimal(1))
_U, _K = Decimal("0.2"), Decimal(2)
EXAMPLE_PRIOR = Prior(Decimal(0), Decimal("0.5"))

_BANDS = {
    "none": "the acceptance limits are the tolerance limits",
    "U": "the guard band is a multiple of the expanded uncertainty U",
    "absolute": "the guard band is a fixed width in the unit of the limits",
    "tolerance": "the guard band is a share of half the tolerance interval; both limits are needed",
    "rds": (
        "the acceptance half-width is the root of the squared tolerance half-width less U at "
        "95 % squared; both limits are needed"
    ),
    "managed": (
        "the guard band follows from the test uncertainty ratio so that the probability of false "
        "accept stays below 2 % for any prior (formula from memory, verify); both limits are needed"
    ),
    "specific_risk": (
        "the guard band is solved so that a result on an acceptance limit has the target "
        "specific risk"
    ),
    "global_risk": (
        "the guard band is solved so that the global consumer's risk does not exceed the target; "
        "a prior is needed"
    ),
    "tur_table": (
        "the guard band is that of the last step of the table whose test uncertainty ratio is "
        "reached, a ratio that equals it included; both limits are needed"
    ),
}
_ZONES = {
    2: ("A result inside the acceptance limits or on one passes; any other fails."),
    4: (
        "A result inside the acceptance limits passes; beyond them but inside the tolerance "
        "limits it passes on condition; outside the tolerance limits by no more than the guard "
        "band it fails on condition; further out it fails. An edge belongs to the better zone."
    ),
}


_RATIOS = (
    "TUR is the width of the tolerance interval over twice U at 95 %, T half that width, and U as "
    "it is stated with its k; both limits are needed, and a ratio that equals its limit holds."
)


_ON_REPORTED = (
    "All this is of the result and U as they are reported: U rounded up to two digits, the result "
    "to the same place."
)


def rule_answer(rule: Rule, versions: Sequence[int] | None = None) -> dict[str, Any]:
    """Return a rule as it is answered: its record, an explanation and the example."""
    answer = rule.to_mapping() | {"built_in": rule.id in BUILT_IN}
    if versions is not None:
        answer["versions"] = list(versions)
    return answer | {"explanation": explanation(rule), "example": example(rule)}


def explanation(rule: Rule) -> str:
    """Return what the rule does, in words.

    >>> print(explanation(BUILT_IN["simple"]))
    Simple acceptance, no guard band: the acceptance limits are the tolerance limits. A result \
inside the acceptance limits or on one passes; any other fails.
    """
    on = [_ON_REPORTED] if rule.decides_on == REPORTED else []
    if rule.precondition is None:
        return " ".join([_plain_explanation(rule), *on])
    told: list[str] = []
    for one, decides in zip_longest(rule.chain(), branches(rule)):
        asked = None if one is None else one.precondition
        where = "Otherwise" if told else "Where"
        if asked is not None:
            where = f"Otherwise, where {asked.words}" if told else f"Where {asked.words}"
        said = "No statement of conformity is made."
        told.append(f"{where}: {said if decides is None else _plain_explanation(decides)}")
    return " ".join([*told, _RATIOS, *on])


def _plain_explanation(rule: Rule) -> str:
    name = describe_guard(rule.guard)
    relaxed = " A negative guard band lies outside the tolerance limits: relaxed acceptance."
    return (
        f"{name[0].upper()}{name[1:]}: {_BANDS[rule.guard.basis]}."
        f"{relaxed if rule.guard.relaxes else ''} {_ZONES[rule.zones]}"
    )


def example(rule: Rule) -> dict[str, Any]:
    """Return the acceptance limits and the worst specific risk for the example's result."""
    branch = choose(rule, _LIMITS, _U, k=_K)
    one, worst = branch.rule, None
    prior = EXAMPLE_PRIOR if one is not None and one.guard.basis == "global_risk" else None
    if one is None:
        accepted = nothing_stated(branch)
    else:
        accepted = acceptance(_LIMITS, _U, one, k=_K, prior=prior)
    if not accepted.empty:
        edges = [edge for edge in (accepted.lower, accepted.upper) if edge is not None]
        found = [decide(edge, _U, _LIMITS, rule, k=_K, prior=prior) for edge in edges]
        worst = max(decision.specific_risk["consumer"] for decision in found)
    answer: dict[str, Any] = {"limits": limits_answer(_LIMITS), "U": "0.2", "k": "2"}
    if prior is not None:
        answer["prior"] = {"mean": "0", "sd": "0.5"}
    if branch.checks:
        answer["branch"] = branch_answer(branch)
    return answer | {
        "acceptance": acceptance_answer(accepted, branch.rule),
        "guard_band": guard_band_answer(accepted),
        "worst_specific_risk": worst,
    }
