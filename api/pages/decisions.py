"""Decide a result: the sentence and the picture follow what is entered; storing it is a button.

Everything entered stands in the address, so that a decision can be shown to somebody else. Numbers
come from the service that answers ``POST /v1/decisions``; nothing is worked out here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from flask import Response, redirect, request, url_for

from api.errors import TraceholdError
from api.pages import forms
from api.pages.layout import is_part, pages, show
from api.pages.sessions import new_once, once, page
from api.rules.units import FORCE_UNITS
from api.schemas.decisions import NewDecisionSchema
from api.services.decisions import decisions
from api.services.decisions.decision_rules import known_rules
from api.services.decisions.requests import decide_request, requested_rule
from api.web.clock import now_us
from api.web.metrics import meters
from api.web.pictures import picture
from api.web.problems import Problem
from api.web.transactions import reading, writing

blp = pages("decision_pages")
SCHEMA = NewDecisionSchema()
NUMBERS = ("value", "U", "k", "dof")
WORDS = ("results", "specification")
FIELDS = (*NUMBERS, "unit", "lower", "upper", "nominal", "tolerance", "rule", *WORDS)
PRIOR = {"prior_mean": "mean", "prior_sd": "sd"}
LABELS = {
    "/value": ("value", "Result"),
    "/U": ("U", "Expanded uncertainty U"),
    "/k": ("k", "Coverage factor k"),
    "/dof": ("dof", "Degrees of freedom"),
    "/unit": ("unit", "Unit"),
    "/limits": ("lower", "Limits"),
    "/limits/lower": ("lower", "Lower limit"),
    "/limits/upper": ("upper", "Upper limit"),
    "/nominal": ("nominal", "Nominal value"),
    "/tolerance": ("tolerance", "Tolerance"),
    "/rule": ("rule", "Decision rule"),
    "/prior": ("prior_mean", "What is known of such items"),
    "/prior/mean": ("prior_mean", "Mean"),
    "/prior/sd": ("prior_sd", "Standard deviation"),
    "/results": ("results", "Results covered"),
    "/specification": ("specification", "Specification"),
}


@blp.route("/decide")
@page("decide")
def show_form() -> Response:
    """Show the form and, if enough is entered, the decision with its picture."""
    sent = request.args
    begun = any(sent.get(name, "").strip() for name in FIELDS if name not in ("unit", "rule", "k"))
    body = _body(sent)
    with reading() as session:
        rules = known_rules(session)
        answer, faults = _decided(session, body) if begun else (None, [])
    facts: dict[str, Any] = {
        "sent": sent,
        "answer": answer,
        "faults": faults,
        "entered": _entered(sent),
        "query": urlencode(_entered(sent)),
        "stored": sent.get("stored", type=int),
        "once": new_once(),
    }
    if is_part():
        return show("decision_found.html", **facts)
    return show("decide.html", rules=rules.values(), units=FORCE_UNITS, begun=begun, **facts)


@blp.route("/decide", methods=["POST"])
@page("decide")
def store_decision() -> Response:
    """Store the decision that the form shows."""
    loaded, faults = forms.load(SCHEMA, _body(request.form), LABELS)
    if loaded is None:
        raise Problem("invalid-request", "; ".join(one["detail"] for one in faults))

    def work() -> Any:
        with reading() as session:
            prepared = decisions.prepare(session, loaded)
        with writing() as session:
            key = decisions.store(session, prepared, now_us())
        meters().decided("stored", {prepared.answer["verdict"]: 1})
        return redirect(
            url_for("decision_pages.show_form", **_entered(request.form), stored=key), 303
        )

    return once(work)


@blp.route("/decide/figure.svg")
@page("decide")
def show_figure() -> Response:
    """Draw the decision that the address describes."""
    # Only a picture needs matplotlib, which takes long to import.
    from api.services.decisions.figure import decision_figure

    loaded, faults = forms.load(SCHEMA, _body(request.args), LABELS)
    if loaded is None:
        raise Problem("invalid-request", "; ".join(one["detail"] for one in faults))
    with reading() as session:
        rule, _, _ = requested_rule(session, loaded)
        decided = decide_request(session, loaded, rule)
    return picture(decision_figure(decided.decision, loaded["unit"], "svg", "Decision"), "svg")


def _decided(
    session: Any, body: Mapping[str, Any]
) -> tuple[dict[str, Any] | None, list[forms.Fault]]:
    loaded, faults = forms.load(SCHEMA, body, LABELS)
    if loaded is None:
        return None, faults
    try:
        return decisions.decide_unstored(session, loaded), []
    except TraceholdError as error:
        return None, forms.refused(error, LABELS)


def _entered(sent: Mapping[str, str]) -> dict[str, Any]:
    return dict(forms.filled(sent, *FIELDS, *PRIOR))


def _body(sent: Mapping[str, str]) -> dict[str, Any]:
    """The request that the fields stand for, as it would be sent to the API."""
    body: dict[str, Any] = forms.filled(sent, *NUMBERS, "unit", "rule", *WORDS)
    body |= forms.filled(sent, "nominal", "tolerance")
    if limits := forms.filled(sent, "lower", "upper"):
        body["limits"] = limits
    if prior := forms.filled(sent, *PRIOR):
        body["prior"] = {PRIOR[name]: text for name, text in prior.items()}
    return body
