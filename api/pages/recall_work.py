"""What is done in a recall: dispositions for many certificates at once, steps, and notices.

Every form is carried out once and against the state of the case that its page showed: if somebody
else did something meanwhile, nothing is stored and the page says so.
"""

from __future__ import annotations

from typing import Any

import orjson
from flask import Response, g, redirect, request, url_for

from api.errors import StaleVersion, TraceholdError
from api.pages import forms, notice_html
from api.pages.layout import pages, show
from api.pages.sessions import new_once, once, page
from api.schemas.cases import CaseChangeSchema
from api.schemas.dispositions import DispositionSchema
from api.schemas.notices import NoticeRequestSchema
from api.services import cases, dispositions, notice_records, notices, recalls
from api.services.recording import Record
from api.web.clock import now_us
from api.web.problems import Problem
from api.web.transactions import reading, writing

blp = pages("recall_work")
MOST_NOTICES = 500
DISPOSITIONS, NOTICES, STEPS = DispositionSchema(), NoticeRequestSchema(), CaseChangeSchema()
NOTICE_LABELS = {
    "/by": ("by", "Authorised by"),
    "/reply_by": ("reply_by", "Answer by"),
    "/wrong": ("wrong", "What was wrong"),
}


@blp.route("/recalls/<int:recall_id>/dispositions", methods=["POST"])
@page("recall")
def dispose(recall_id: int) -> Response:
    """Record one action for the certificates that were ticked, or for a whole list."""
    sent = request.form
    body: Record = forms.filled(sent, "action", "justification") | {"by": _by()}
    if sent.get("scope") == "ticked":
        ticked = [orjson.loads(text) for text in sent.getlist("certificate")]
        if not ticked:
            raise Problem("invalid-request", "No certificate was ticked.")
        body["certificates"] = ticked
    else:
        body |= {"list": sent.get("list", ""), "undecided": "undecided" in sent}
        if sent.get("scope") == "changed":
            body["verdict_changes"] = True
    command = _loaded(DISPOSITIONS, body)

    def work() -> Any:
        with writing() as session:
            case = cases.locked(session, recall_id)
            _check_version(case.version)
            recorded = dispositions.record(session, case, command, now_us())
        return redirect(
            url_for(
                "recall_pages.show_recall",
                recall_id=recall_id,
                disposed=recorded,
                list=sent.get("list"),
                sort=sent.get("sort"),
            ),
            303,
        )

    return once(work)


@blp.route("/recalls/<int:recall_id>/case", methods=["POST"])
@page("recall")
def take_step(recall_id: int) -> Response:
    """Take the next step of the case."""
    body = forms.filled(request.form, "state", "reason") | {"by": _by()}
    change = _loaded(STEPS, body)

    def work() -> Any:
        with writing() as session:
            case = cases.locked(session, recall_id)
            _check_version(case.version)
            cases.advance(session, case, change, now_us())
        return redirect(url_for("recall_pages.show_recall", recall_id=recall_id), 303)

    return once(work)


@blp.route("/recalls/<int:recall_id>/notices")
@page("read")
def show_notices(recall_id: int) -> Response:
    """List the notices of a recall, and preview those that are not created yet."""
    return _notices(recall_id, [], None)


@blp.route("/recalls/<int:recall_id>/notices", methods=["POST"])
@page("recall")
def create_notices(recall_id: int) -> Response:
    """Create a notice for each customer concerned that has none, or preview them."""
    body: Record = forms.filled(request.form, "reply_by", "wrong") | {"by": _by()}
    if "replace" in request.form:
        body["replace"] = True
    loaded, faults = forms.load(NOTICES, body, NOTICE_LABELS)
    if loaded is None:
        return _notices(recall_id, faults, None)
    try:
        if "preview" in request.form:
            return _notices(recall_id, [], _previewed(recall_id, loaded))
        return once(lambda: _created(recall_id, loaded))
    except TraceholdError as error:
        return _notices(recall_id, forms.refused(error, NOTICE_LABELS), None)


@blp.route("/recalls/<int:recall_id>/notices/<int:notice_id>")
@page("read")
def show_notice(recall_id: int, notice_id: int) -> Response:
    """Show one notice for reading and print."""
    with reading() as session:
        notice = notices.get(session, recall_id, notice_id, None)
    content = orjson.loads(notice.content)
    page = Response(notice_html.html(content, notice.content_hash), mimetype="text/html")
    page.headers["Content-Security-Policy"] = notice_html.POLICY
    return page


@blp.route("/recalls/<int:recall_id>/notices/<int:notice_id>.pdf")
@page("read")
def show_notice_as_pdf(recall_id: int, notice_id: int) -> Response:
    """Show one notice as PDF."""
    # Only a PDF needs its library, which takes long to import.
    from api.pages import notice_pdf

    with reading() as session:
        notice = notices.get(session, recall_id, notice_id, None)
    content = orjson.loads(notice.content)
    body = notice_pdf.pdf(content, notice.content_hash, notice.created_us)
    response = Response(body, mimetype="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="{notice.number}.pdf"'
    return response


def _created(recall_id: int, sent: Record) -> Any:
    with writing() as session:
        made = notices.create(session, cases.locked(session, recall_id), sent, now_us())
    address = url_for("recall_work.show_notices", recall_id=recall_id, created=len(made.notices))
    return redirect(address, 303)


def _previewed(recall_id: int, sent: Record) -> list[Record]:
    """Return what the notices would say; they are made and taken back, so nothing is stored."""
    with writing() as session:
        made = notices.create(session, cases.locked(session, recall_id), sent, now_us())
        contents = [orjson.loads(one.content) for one in made.notices]
        session.rollback()
    return contents


def _notices(recall_id: int, faults: list[forms.Fault], previewed: list[Record] | None) -> Response:
    with reading() as session:
        head = recalls.head_answer(recalls.get(session, recall_id))
        case = cases.answer(session, cases.get(session, recall_id))
        found, more = notice_records.find(session, recall_id, {}, None, MOST_NOTICES, now_us())
    return show(
        "notices.html",
        422 if faults else 200,
        head=head,
        case=case,
        found=found,
        more=more is not None,
        faults=faults,
        previewed=previewed,
        sent=request.form,
        created=request.args.get("created", type=int),
        once=new_once(),
    )


def _by() -> str:
    """Who acts: the person of the key or session, else the name in the form."""
    bound: str | None = g.key.person
    return bound or request.form.get("by", "").strip()


def _loaded(schema: Any, body: Record) -> Record:
    loaded, faults = forms.load(schema, body, {})
    if loaded is None:
        raise Problem("invalid-request", "; ".join(one["detail"] for one in faults) + ".")
    return loaded


def _check_version(version: int) -> None:
    if request.form.get("version") != str(version):
        raise StaleVersion("Something was done in this case since the page was shown; look again.")
