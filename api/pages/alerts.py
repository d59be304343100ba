"""Alerts: the list of what waits for an answer, one alert with its drafted fault, and the answers.

An answer by a fault names a recall by its number. Who answers all that pass the filter writes down
how many they are, as with dispositions.
"""

from __future__ import annotations

from typing import Any

from flask import Response, redirect, request, url_for

from api.pages import forms
from api.pages.layout import pages, show, zone
from api.pages.sessions import by, new_once, once, page
from api.schemas.alerts import AlertQuerySchema, AnswerByFilterSchema, NewAlertAnswerSchema
from api.services.alerts import alerts, answering, drafts
from api.services.base.record import Record
from api.web import paging
from api.web.clock import now_us
from api.web.problems import Problem
from api.web.transactions import reading, writing

blp = pages("alert_pages")
QUERY, BY_FILTER, ANSWER = AlertQuerySchema(), AnswerByFilterSchema(), NewAlertAnswerSchema()
ROWS = 50
NARROWING = ("item", "kind", "failed_before", "good_evidence_followed")
LABELS = {f"/{name}": (name, name.replace("_", " ")) for name in (*NARROWING, "state")}


@blp.route("/alerts")
@page("read")
def show_alerts() -> Response:
    """List alerts, the open ones unless another state is asked for."""
    sent = forms.filled(request.args, "state", *NARROWING)
    state = sent.pop("state", "open")
    shown = sent | ({} if state == "every" else {"state": state})
    query, faults = forms.load(QUERY, shown, LABELS)
    filters = _filters(query or {"state": "open"})
    after = paging.after({"cursor": request.args["cursor"]} if "cursor" in request.args else {})
    with reading() as session:
        found, key = alerts.find(session, filters, after, ROWS)
        count = alerts.count(session, filters)
    following = None
    if key is not None:
        kept: Record = {"state": state, **sent, "cursor": paging.cursor(key)}
        following = url_for("alert_pages.show_alerts", **kept)
    return show(
        "alerts.html",
        422 if faults else 200,
        found=found,
        count=count,
        faults=faults,
        sent=sent,
        chosen=state,
        following=following,
        answered=request.args.get("answered", type=int),
        once=new_once(),
    )


@blp.route("/alerts/answers", methods=["POST"])
@page("recall")
def answer_filtered() -> Response:
    """Answer all open alerts that pass the filter of the list."""
    sent = request.form
    narrowed: Record = forms.filled(sent, *NARROWING)
    count = forms.number(sent, "count")
    if count is None:
        raise Problem("invalid-request", "Write how many alerts are meant, to confirm it.")
    body = {"filter": narrowed, "count": count, "by": by(), **forms.filled(sent, "reason")}
    command = _loaded(BY_FILTER, body)
    command["filter"] = _filters(command["filter"])

    def work() -> Any:
        with writing() as session:
            answered = answering.filtered(session, command, now_us())
        return redirect(url_for("alert_pages.show_alerts", answered=len(answered), **narrowed), 303)

    return once(work)


@blp.route("/alerts/<int:alert_id>")
@page("read")
def show_alert(alert_id: int) -> Response:
    """Show an alert: what raised it, the fault that it shows, and how to answer it."""
    with reading() as session:
        alert = alerts.get(session, alert_id)
        shown = alerts.answer(session, alert)
        others = [alerts.get(session, key) for key in shown["together"]]
        beside = alerts.answers(session, others)
        drafted = drafts.draft(session, alert)
    return show(
        "alert.html",
        alert=shown,
        beside=beside,
        draft=drafted,
        recall=request.args.get("recall", "")[:40],
        once=new_once(),
    )


@blp.route("/alerts/<int:alert_id>/answers", methods=["POST"])
@page("recall")
def answer_alert(alert_id: int) -> Response:
    """Answer an alert, with those of the same failure if that was ticked."""
    sent = request.form
    body: Record = {"by": by(), "together": "together" in sent, **forms.filled(sent, "reason")}
    if number := sent.get("recall", "").strip():
        body["recall"] = _recall(number)
    command = _loaded(ANSWER, body)

    def work() -> Any:
        with writing() as session:
            answering.one(session, alerts.get(session, alert_id), command, now_us())
        return redirect(url_for("alert_pages.show_alert", alert_id=alert_id), 303)

    return once(work)


def _recall(number: str) -> int:
    with reading() as session:
        return answering.recall_of(session, number)


def _filters(sent: Record) -> Record:
    return alerts.filters_of(sent, zone())


def _loaded(schema: Any, body: Record) -> Record:
    command, faults = forms.load(schema, body, {})
    if command is None:
        told = "; ".join(f"{one['detail']} ({one['remedy']})" for one in faults)
        raise Problem("invalid-request", f"{told[:1].upper()}{told[1:]}.")
    return command
