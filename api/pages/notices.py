"""Notices of a recall: preview, creation, print, and what became of each.

A delivery, a reminder and an acknowledgement are recorded with what `POST` to the same notice of
the API takes; nothing that was recorded is taken back.
"""

from __future__ import annotations

from typing import Any

import orjson
from flask import Response, redirect, request, url_for

from api.errors import TraceholdError
from api.pages import forms, notice_html
from api.pages.fault_form import in_zone
from api.pages.layout import pages, show, zone
from api.pages.sessions import by, new_once, once, page
from api.schemas.notices import AcknowledgementSchema, DeliverySchema, NoticeRequestSchema
from api.services.base.record import Record
from api.services.casework import cases
from api.services.notices import notice_records, notices
from api.services.notices.notice_records import ACKNOWLEDGEMENT, DELIVERY, REMINDER
from api.services.recalls import recalls
from api.services.records import customers
from api.web.clock import now_us
from api.web.transactions import reading, writing

blp = pages("notice_pages")
MOST_NOTICES = 500
NOTICES, DELIVERIES, ACKNOWLEDGEMENTS = (
    NoticeRequestSchema(),
    DeliverySchema(),
    AcknowledgementSchema(),
)
NOTICE_LABELS = {
    "/by": ("by", "Authorised by"),
    "/reply_by": ("reply_by", "Answer by"),
    "/wrong": ("wrong", "What was wrong"),
}
KINDS = (
    (DELIVERY, "it was delivered"),
    (REMINDER, "the customer was reminded"),
    (ACKNOWLEDGEMENT, "the customer confirmed it"),
)
RECORD_LABELS = {
    "/to": ("party", "To or from whom"),
    "/from": ("party", "To or from whom"),
    "/how": ("how", "How"),
    "/at": ("at", "When"),
    "/by": ("by", "Your name"),
    "/note": ("note", "Note"),
}


@blp.route("/recalls/<int:recall_id>/notices")
@page("read")
def show_notices(recall_id: int) -> Response:
    """List the notices of a recall, and preview those that are not created yet."""
    return _notices(recall_id, [], None)


@blp.route("/recalls/<int:recall_id>/notices", methods=["POST"])
@page("recall")
def create_notices(recall_id: int) -> Response:
    """Create a notice for each customer concerned that has none, or preview them."""
    body: Record = forms.filled(request.form, "reply_by", "wrong") | {"by": by()}
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
    address = url_for("notice_pages.show_notices", recall_id=recall_id, created=len(made.notices))
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


@blp.route("/recalls/<int:recall_id>/notices/<int:notice_id>/records")
@page("read")
def show_records(recall_id: int, notice_id: int) -> Response:
    """Show what became of one notice."""
    return _records(recall_id, notice_id, [])


@blp.route("/recalls/<int:recall_id>/notices/<int:notice_id>/records", methods=["POST"])
@page("recall")
def record(recall_id: int, notice_id: int) -> Response:
    """Record that a notice was delivered, reminded of or acknowledged."""
    kind = request.form.get("what", DELIVERY)
    loaded, faults = _record_of(kind)
    if loaded is None:
        return _records(recall_id, notice_id, faults)

    def work() -> Any:
        with writing() as session:
            notice = notices.get(session, recall_id, notice_id, None)
            notice_records.record(session, notice, kind, loaded, now_us())
        return redirect(url_for("notice_pages.show_notices", recall_id=recall_id), 303)

    try:
        return once(work)
    except TraceholdError as error:
        return _records(recall_id, notice_id, forms.refused(error, RECORD_LABELS))


def _record_of(kind: str) -> tuple[Record | None, list[forms.Fault]]:
    """What the form says, as the API takes it."""
    sent = request.form
    body: Record = forms.filled(sent, "how", "note") | {"by": by()}
    if at := forms.filled(sent, "at"):
        body["at"] = in_zone(at["at"], zone())
    party = forms.filled(sent, "party").get("party")
    place = "from" if kind == ACKNOWLEDGEMENT else "to"
    body |= {} if party is None else {place: party}
    schema = ACKNOWLEDGEMENTS if kind == ACKNOWLEDGEMENT else DELIVERIES
    return forms.load(schema, body, RECORD_LABELS)


def _records(recall_id: int, notice_id: int, faults: list[forms.Fault]) -> Response:
    with reading() as session:
        head = recalls.head_answer(recalls.get(session, recall_id))
        notice = notices.get(session, recall_id, notice_id, None)
        (shown,) = notice_records.answers(session, [notice], now_us())
        concerned = customers.get(session, notice.customer_id)
    return show(
        "notice_records.html",
        422 if faults else 200,
        head=head,
        notice=shown,
        suggested=concerned.email or concerned.contact,
        kinds=KINDS,
        faults=faults,
        sent=request.form,
        once=new_once(),
    )
