"""What is done in a recall: dispositions, corrected revisions, and the steps of its case.

Every form is carried out once and against the state of the case that its page showed: if somebody
else did something meanwhile, nothing is stored and the page says so.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import orjson
from flask import Response, redirect, request, url_for
from sqlalchemy.orm import Session

from api.errors import StaleVersion
from api.pages import forms
from api.pages.layout import pages
from api.pages.sessions import by, once, page
from api.schemas.cases import (
    CaseChangeSchema,
    CorrectiveStepSchema,
    NoticeExceptionSchema,
    StepSchema,
)
from api.schemas.corrected_revisions import CorrectedRevisionsSchema
from api.schemas.dispositions import DispositionSchema
from api.services.base.confirmed import refuse_other_count
from api.services.base.record import Record
from api.services.casework import cases, corrective_steps, dispositions, notice_exceptions
from api.services.casework.entry_filters import FILTERS
from api.services.certificates import corrected_revisions
from api.services.recalls.staleness import standing
from api.store.casework import RecallCase
from api.web.clock import now_us
from api.web.problems import Problem
from api.web.transactions import writing

blp = pages("recall_work")
DISPOSITIONS, STEPS, RESUMPTION = DispositionSchema(), CaseChangeSchema(), StepSchema()
CORRECTIVE, EXCEPTION = CorrectiveStepSchema(), NoticeExceptionSchema()
REVISIONS = CorrectedRevisionsSchema()


@blp.route("/recalls/<int:recall_id>/dispositions", methods=["POST"])
@page("recall")
def dispose(recall_id: int) -> Response:
    """Record one action for the certificates that were ticked, or for all that pass the filter.

    Somebody who means all of them writes down how many they are.
    """
    sent = request.form
    body: Record = forms.filled(sent, "action", "justification", "reason_for_customer")
    body["by"] = by()
    if sent.get("scope") == "ticked":
        ticked = _ticked()
        if not ticked:
            raise Problem("invalid-request", "No certificate was ticked.")
        body["certificates"] = ticked
    else:
        body |= {"list": sent.get("list", ""), "undecided": "undecided" in sent}
        body |= _shown_filters()
        if "verdict_changes" in body:
            body["verdict_changes"] = body["verdict_changes"] == "true"
        if (count := forms.number(sent, "count")) is not None:
            body["count"] = count
    command = _loaded(DISPOSITIONS, body)
    if "list" in command and "count" not in command:
        raise Problem("invalid-request", "Write how many certificates are meant, to confirm it.")

    def work(session: Session, case: RecallCase) -> dict[str, Any]:
        recorded = dispositions.record(session, case, command, now_us())
        shown = {"list": sent.get("list"), "sort": sent.get("sort"), **_shown_filters()}
        return {"disposed": recorded, **shown}

    return _in_case(recall_id, work)


@blp.route("/recalls/<int:recall_id>/revisions", methods=["POST"])
@page("record")
def draft_revisions(recall_id: int) -> Response:
    """Draft the corrected revision of the certificate named, or of all that are to be reissued.

    Somebody who means all of them writes down how many they are.
    """
    body: Record = forms.filled(request.form, "amendment") | {"by": by()}
    if named := _ticked():
        body["certificates"] = named
    count = forms.number(request.form, "count")
    if not named and count is None:
        raise Problem("invalid-request", "Write how many certificates are meant, to confirm it.")
    sent = _loaded(REVISIONS, body)

    def work(session: Session, case: RecallCase) -> dict[str, Any]:
        names = sent.get("certificates")
        if names is None:
            names = corrected_revisions.to_reissue(session, recall_id)
            refuse_other_count(len(names), count or 0, "certificate")
        made = corrected_revisions.draft(session, recall_id, names, sent, now_us())
        return {"drafted": len(made), "_anchor": "revisions"}

    return _in_case(recall_id, work)


@blp.route("/recalls/<int:recall_id>/case", methods=["POST"])
@page("recall")
def take_step(recall_id: int) -> Response:
    """Take the next step of the case."""
    body = forms.filled(request.form, "state", "reason") | {"by": by()}
    change = _loaded(STEPS, body)

    def work(session: Session, case: RecallCase) -> dict[str, Any]:
        cases.advance(session, case, change, standing(session, recall_id), now_us())
        return {}

    return _in_case(recall_id, work)


@blp.route("/recalls/<int:recall_id>/resumption", methods=["POST"])
@page("recall")
def resume_work(recall_id: int) -> Response:
    """Let work resume, by the word of somebody who did not assess the case."""
    step = _loaded(RESUMPTION, forms.filled(request.form, "reason") | {"by": by()})

    def work(session: Session, case: RecallCase) -> dict[str, Any]:
        cases.resume(session, case, step, now_us())
        return {"_anchor": "resumption"}

    return _in_case(recall_id, work)


@blp.route("/recalls/<int:recall_id>/notice-exceptions", methods=["POST"])
@page("recall")
def except_customers(recall_id: int) -> Response:
    """Record why the customers ticked are sent no notice, and nobody is told of certificates."""
    body: Record = forms.filled(request.form, "reason") | {"by": by()}
    customers = request.form.getlist("customer")
    lost = _ticked()
    if customers:
        body["customers"] = customers
    if lost:
        body["certificates"] = lost
    if not (customers or lost):
        raise Problem("invalid-request", "No customer and no certificate was ticked.")
    sent = _loaded(EXCEPTION, body)

    def work(session: Session, case: RecallCase) -> dict[str, Any]:
        notice_exceptions.record(session, case, sent, now_us())
        return {"_anchor": "case"}

    return _in_case(recall_id, work)


@blp.route("/recalls/<int:recall_id>/corrective-steps", methods=["POST"])
@page("recall")
def take_corrective_step(recall_id: int) -> Response:
    """Record cause, corrective action or the review of its effectiveness."""
    body: Record = forms.filled(request.form, "step", "text") | {"by": by()}
    if (effective := request.form.get("effective", "")) in ("yes", "no"):
        body["effective"] = effective == "yes"
    step = _loaded(CORRECTIVE, body)

    def work(session: Session, case: RecallCase) -> dict[str, Any]:
        corrective_steps.record(session, case, step, now_us())
        return {"_anchor": "corrective"}

    return _in_case(recall_id, work)


def _in_case(recall_id: int, work: Callable[[Session, RecallCase], dict[str, Any]]) -> Response:
    """Carry out a form once, against the case as its page showed it; then show the recall.

    `work` returns what the address of the page has besides.
    """

    def done() -> Any:
        with writing() as session:
            case = cases.locked(session, recall_id)
            _check_version(case.version)
            shown = work(session, case)
        return redirect(url_for("recall_pages.show_recall", recall_id=recall_id, **shown), 303)

    return once(done)


def _ticked() -> list[Any]:
    """The certificates that were ticked; with a revision each, since several can be listed."""
    try:
        return [orjson.loads(text) for text in request.form.getlist("certificate")]
    except orjson.JSONDecodeError as wrong:
        raise Problem("invalid-request", "A tick names no certificate; look again.") from wrong


def _shown_filters() -> dict[str, Any]:
    """The filters that the page showed; the form has fields of the same names."""
    named = {name: request.form.get(f"filter_{name}", "").strip() for name in FILTERS}
    return {name: text for name, text in named.items() if text}


def _loaded(schema: Any, body: Record) -> Record:
    loaded, faults = forms.load(schema, body, {})
    if loaded is None:
        raise Problem("invalid-request", "; ".join(one["detail"] for one in faults) + ".")
    return loaded


def _check_version(version: int) -> None:
    if request.form.get("version") != str(version):
        raise StaleVersion("Something was done in this case since the page was shown; look again.")
