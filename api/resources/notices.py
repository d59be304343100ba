"""Notices: what each customer is told of a recall, and what became of it."""

from __future__ import annotations

from typing import Any

import orjson
from flask import Response, request

from api.pages import notice_html, notice_text
from api.resources.access import customer_of_key
from api.schemas.notices import (
    AcknowledgementSchema,
    DeliverySchema,
    NoticeFormatSchema,
    NoticeHeadSchema,
    NoticeQuerySchema,
    NoticeRequestSchema,
    NoticeSchema,
    NoticesCreatedSchema,
)
from api.services.casework import cases
from api.services.notices import notice_records, notices
from api.services.notices.notice_records import ACKNOWLEDGEMENT, DELIVERY, REMINDER
from api.web import paging
from api.web.auth import require, requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.json import dumps
from api.web.problems import Problem
from api.web.transactions import reading, writing

blp = Blueprint("notices", __name__, url_prefix="/v1/recalls", description=__doc__)
NoticePageSchema = paging.page_schema("NoticePage", NoticeHeadSchema)
TYPES = {
    "json": "application/json",
    "text": "text/plain",
    "html": "text/html",
    "pdf": "application/pdf",
}


class NoticeListQuery(paging.PageQuery, NoticeQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("/<int:recall_id>/notices", methods=["POST"])
@requires("recall")
@idempotent
@blp.arguments(NoticeRequestSchema)
@blp.response(201, NoticesCreatedSchema)
@blp.alt_response(200, schema=NoticesCreatedSchema, description="Every customer has its notice")
def create_notices(sent: dict[str, Any], recall_id: int) -> Any:
    """Create one notice for each customer concerned, with only its own certificates."""
    now = now_us()
    with writing() as session:
        made = notices.create(session, cases.locked(session, recall_id), sent, now)
        shown = notice_records.answers(session, made.notices, now)
    status = 201 if shown else 200
    location = {"Location": f"/v1/recalls/{recall_id}/notices"}
    return {"items": shown, "kept": made.kept}, status, location


@blp.route("/<int:recall_id>/notices")
@requires("read", customers=True)
@blp.arguments(NoticeListQuery, location="query")
@blp.response(200, NoticePageSchema)
def list_notices(query: dict[str, Any], recall_id: int) -> Any:
    """List notices; acknowledged=false lists the customers that are to be reminded."""
    filters = query | {"customer": customer_of_key()}
    with reading() as session:
        cases.get(session, recall_id)
        found, key = notice_records.find(
            session, recall_id, filters, paging.after(query), query["limit"], now_us()
        )
    return paging.answer(found, key)


@blp.route("/<int:recall_id>/notices/<int:notice_id>")
@requires("read", customers=True)
@blp.arguments(NoticeFormatSchema, location="query")
@blp.response(200, NoticeSchema)
@blp.alt_response(406, description="No form that the Accept header allows")
def show_notice(query: dict[str, Any], recall_id: int, notice_id: int) -> Any:
    """Show a notice as JSON, text, HTML for print, or PDF, by Accept or ?format=."""
    form = query.get("format") or _accepted()
    with reading() as session:
        notice = notices.get(session, recall_id, notice_id, customer_of_key())
        (head,) = notice_records.answers(session, [notice], now_us())
    if form == "json":
        body: bytes | str = b'%b,"content":%b}' % (dumps(head)[:-1], notice.content.encode())
    else:
        content = orjson.loads(notice.content)
        if form == "text":
            body = notice_text.text(content, notice.content_hash)
        elif form == "html":
            body = notice_html.html(content, notice.content_hash)
        else:
            # Only a PDF needs its library, which takes long to import.
            from api.pages import notice_pdf

            body = notice_pdf.pdf(content, notice.content_hash, notice.created_us)
    response = Response(body, 200, mimetype=TYPES[form])
    response.headers["Vary"] = "Accept"
    if form == "html":
        response.headers["Content-Security-Policy"] = notice_html.POLICY
    if form == "pdf":
        response.headers["Content-Disposition"] = f'inline; filename="{notice.number}.pdf"'
    return response


@blp.route("/<int:recall_id>/notices/<int:notice_id>/deliveries", methods=["POST"])
@requires("recall")
@idempotent
@blp.arguments(DeliverySchema)
@blp.response(201, NoticeHeadSchema)
def record_delivery(sent: dict[str, Any], recall_id: int, notice_id: int) -> Any:
    """Record that a notice was delivered, or that its customer was reminded: to whom and how."""
    kind = REMINDER if sent["reminder"] else DELIVERY
    return _recorded(recall_id, notice_id, kind, sent)


@blp.route("/<int:recall_id>/notices/<int:notice_id>/acknowledgements", methods=["POST"])
@requires("read", customers=True)
@idempotent
@blp.arguments(AcknowledgementSchema)
@blp.response(201, NoticeHeadSchema)
def record_acknowledgement(sent: dict[str, Any], recall_id: int, notice_id: int) -> Any:
    """Record that a customer confirmed a notice; a customer's own key may do so for its own."""
    if customer_of_key() is None:
        require("recall")
    return _recorded(recall_id, notice_id, ACKNOWLEDGEMENT, sent)


def _recorded(recall_id: int, notice_id: int, kind: str, sent: dict[str, Any]) -> Any:
    now = now_us()
    with writing() as session:
        notice = notices.get(session, recall_id, notice_id, customer_of_key())
        notice_records.record(session, notice, kind, sent, now)
        (shown,) = notice_records.answers(session, [notice], now)
    return shown, 201, {"Location": f"/v1/recalls/{recall_id}/notices/{notice_id}"}


def _accepted() -> str:
    """Name of the form that the caller likes best, JSON if it does not say."""
    if not request.accept_mimetypes:
        return "json"
    best = request.accept_mimetypes.best_match(list(TYPES.values()))
    if best is None:
        offered = ", ".join(TYPES.values())
        raise Problem("not-acceptable", f"A notice comes as {offered}.")
    return next(name for name, media_type in TYPES.items() if media_type == best)
