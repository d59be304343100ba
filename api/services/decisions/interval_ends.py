"""Will a result still conform at the end of the interval? The decision made again with its drift.

Choice: limits, rule and k are those of the decision; value, U and degrees of freedom are those of
`api.rules.interval_end`. A density keeps its rectangle or trapezoid, and the drift joins the rest.
A guard band from a prior takes the same prior.

Not checked: that limits in percent of reading were of the value now; they stay.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.rules.decide import Decision, decide
from api.rules.exact import FieldError, Number, plain
from api.rules.interval_end import AtEnd, Drift, at_interval_end, dof_at_end
from api.services.base.record import Record
from api.services.decisions.answers import acceptance_answer, reported_answer
from api.services.decisions.requests import Decided, in_unit_of_value, refuse


def interval_end_answer(request: Mapping[str, Any], decided: Decided) -> Record:
    """Return the decision at the end of the interval, of a request with a drift.

    Raises InvalidRecord for a drift that cannot be.
    """
    now, sent = decided.decision, request["drift"]
    try:
        drift = _drift(request, sent)
        end = at_interval_end(now.value, now.U, now.k, drift)
        made = _again(request, decided, end)
    except FieldError as error:
        named = f"/drift{error.field}" if error.field in _OWN else error.field
        refuse(FieldError(named, str(error)), request)
    shown: Record = {
        "verdict": made.verdict,
        "days": plain(drift.days),
        "value": plain(made.value),
        "U": plain(made.U),
        "u_drift": plain(end.u_drift),
    }
    if made.dof is not None:
        shown["dof"] = plain(made.dof)
    return shown | {
        "acceptance": acceptance_answer(made.acceptance, made.branch.rule),
        "specific_risk": made.specific_risk,
        "tur": None if made.tur is None else plain(made.tur),
        "reported": reported_answer(made.value, made.U),
        "statement": f"At the end of the interval, {plain(drift.days)} days on: {made.statement}",
    }


_OWN = ("/days", "/per_year", "/U_per_year")


def _drift(request: Mapping[str, Any], sent: Mapping[str, Any]) -> Drift:
    own = {"unit": request["unit"], **sent}
    rates: dict[str, Number] = {}
    for name in ("per_year", "U_per_year"):
        if name in sent:
            rates[name] = in_unit_of_value(own, name, "/drift")
    return Drift(sent["days"], known=sent.get("known", False), **rates)


def _again(request: Mapping[str, Any], decided: Decided, end: AtEnd) -> Decision:
    now = decided.decision
    density = now.density
    if density is not None and end.growth is not None:
        density = density.widened(end.growth)
    return decide(
        end.value,
        end.U,
        now.limits,
        now.rule,
        k=now.k,
        dof=dof_at_end(now.dof, end.growth),
        density=density,
        prior=decided.prior,
        unit=request["unit"],
        results=request.get("results"),
        specification=request.get("specification"),
    )
