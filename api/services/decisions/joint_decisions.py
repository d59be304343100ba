"""Do several results conform together? With the risk that at least one of them does not.

Choice: every result is decided by itself, as `decisions` does, and all together by the worst of
their verdicts. The joint risk is that of independent results unless one common cause is stated: as
a correlation of any two results, or as the part of each U that is common to all (that of the
reference, say), whose ratio to U is then what ties the result to the others. Nothing is stored: a
decision that is to be kept is sent by itself.

Not checked: that the results are of one certificate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from math import sqrt
from typing import Any

from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, TraceholdError, UnknownReference
from api.rules import ENGINE_VERSION
from api.rules.decide import Decision, distances
from api.rules.joint import Distances, joint_risk, total_global_risk
from api.rules.printed import percent
from api.rules.verdicts import worst
from api.services.base.record import Record
from api.services.decisions.agreements import with_agreement
from api.services.decisions.decisions import answered
from api.services.decisions.requests import in_unit_of_value, needs_records
from api.services.uncertainty.budget_links import with_budget

_SHARED = ("unit", "rule", "agreement")
_NORMAL = "results with degrees of freedom or a density have no joint distribution here"
_MET = {
    "pass": "all of them meet their specifications",
    "conditional_pass": "all of them meet their specifications, at least one on condition only",
    "conditional_fail": "at least one of them does not meet its specification, on condition",
    "fail": "at least one of them does not meet its specification",
    "no_statement": "of at least one of them no statement is made, so of all together neither",
}


def requests_of(sent: Mapping[str, Any]) -> list[Record]:
    """Return the requests for single decisions, each with what is said once for all."""
    shared = {name: sent[name] for name in _SHARED if name in sent}
    found = []
    for one in sent["results"]:
        own = {"rule", "agreement"} & one.keys()
        usual = {n: p for n, p in shared.items() if not (own and n in ("rule", "agreement"))}
        found.append({**usual, **one})
    return found


def any_needs_records(requests: Sequence[Mapping[str, Any]]) -> bool:
    """Say whether one of the requests names a record that the database knows."""
    return any(needs_records(one) for one in requests)


def decide_together(
    session: Session | None, sent: Mapping[str, Any], requests: Sequence[Mapping[str, Any]]
) -> Record:
    """Decide several results, as loaded by their schema, and say what they come to together.

    The session may be None unless `any_needs_records`. Raises as a single decision does, with the
    place of the result in its pointers, and InvalidRecord for a correlation that cannot be.
    """
    decided = [_one(session, one, f"/results/{i}") for i, one in enumerate(requests)]
    made = [decision for decision, _ in decided]
    loadings = _loadings(sent, requests, made)
    risk = joint_risk(
        [
            Distances(
                *distances(d.value, d.U, d.limits, d.k),
                None if d.dof is None else float(d.dof),
                d.density,
            )
            for d in made
        ],
        loadings,
    )
    overall = worst(decision.verdict for decision in made)
    joint: Record = {
        "consumer": risk.consumer,
        "all_conform": risk.conforming,
        "dependence": _dependence(sent),
    }
    if loadings is None and all(one.global_risk is not None for one in made):
        consumer, accepted = total_global_risk(
            [(one.global_risk["consumer"], one.global_risk["accepted"]) for one in made]  # type: ignore[index, misc]
        )
        joint["global_risk"] = {"consumer": consumer, "accepted": accepted}
    return {
        "verdict": overall,
        "joint_risk": joint,
        "statement": _statement(overall, len(made), joint),
        "results": [answer for _, answer in decided],
        "engine_version": ENGINE_VERSION,
    }


def _one(
    session: Session | None, request: Mapping[str, Any], place: str
) -> tuple[Decision, Record]:
    try:
        if session is not None:
            request = with_budget(session, with_agreement(session, request))
        found, answer, _ = answered(session, request)
    except (InvalidRecord, UnknownReference) as error:
        raise _at(place, error) from None
    return found.decision, answer


def _at(place: str, error: TraceholdError) -> TraceholdError:
    """Return an error about one result as one about the whole request."""
    issues = [replace(one, pointer=place + one.pointer) for one in error.issues]
    return type(error)(f"{place}: {error.detail}", issues)


def _loadings(
    sent: Mapping[str, Any], requests: Sequence[Mapping[str, Any]], made: Sequence[Decision]
) -> list[float] | None:
    """Return what ties each result to the common cause; None for independent results."""
    if sent.get("correlation"):
        r = float(sent["correlation"])
        found = [sqrt(abs(r))] * len(made)
        if r < 0:
            found[1] = -found[1]
        tied = list(enumerate(made))
    elif any("common_U" in one for one in requests):
        found = [_tied(i, one, made[i]) for i, one in enumerate(requests)]
        tied = [(i, made[i]) for i, share in enumerate(found) if share]
    else:
        return None
    for i, one in tied:
        if one.dof is not None or one.density is not None:
            name = "dof" if one.density is None else "density"
            remedy = f"leave {name} out (then normal), or leave the correlation out"
            value = None if one.dof is None else str(one.dof)
            raise InvalidRecord(_NORMAL, [Issue(f"/results/{i}/{name}", _NORMAL, remedy, value)])
    return found


def _tied(i: int, request: Mapping[str, Any], made: Decision) -> float:
    """Return the ratio of the common part of U to U."""
    if "common_U" not in request:
        return 0.0
    place = f"/results/{i}"
    try:
        common = in_unit_of_value(request, "common_U")
    except InvalidRecord as error:
        raise _at(place, error) from None
    if Fraction(common) > Fraction(made.U):
        detail = "the common part is larger than U itself"
        remedy = "send that part of U that is common to the results, with the same k as U"
        value = request["common_U"]
        shown = str(value["value"] if isinstance(value, Mapping) else value)
        raise InvalidRecord(detail, [Issue(f"{place}/common_U", detail, remedy, shown)])
    return float(Fraction(common) / Fraction(made.U)) if made.U else 0.0


def _dependence(sent: Mapping[str, Any]) -> str:
    r: Decimal | None = sent.get("correlation")
    if r:
        return f"correlated with r = {r:f}"
    if any("common_U" in one for one in sent["results"]):
        return "correlated by the stated common part of U"
    return "independent"


def _statement(overall: str, size: int, joint: Record) -> str:
    words = f"Of {size} results together: {_MET[overall]}."
    risk = percent(joint["consumer"])
    return f"{words} Joint risk that at least one does not conform: {risk} ({joint['dependence']})."
