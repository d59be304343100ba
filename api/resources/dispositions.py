"""Dispositions: what is done about each certificate of a recall, by whom and when."""

from __future__ import annotations

from typing import Any

from api.resources.cases import case_etag
from api.schemas.dispositions import (
    DispositionAnswerSchema,
    DispositionQuerySchema,
    DispositionSchema,
    DispositionsMadeSchema,
)
from api.services.casework import cases, dispositions
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import honour_if_match, honours_if_match
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("dispositions", __name__, url_prefix="/v1/recalls", description=__doc__)
DispositionPageSchema = paging.page_schema("DispositionPage", DispositionAnswerSchema)


class DispositionListQuery(paging.PageQuery, DispositionQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("/<int:recall_id>/dispositions", methods=["POST"])
@requires("recall")
@idempotent
@honours_if_match
@blp.arguments(DispositionSchema)
@blp.response(201, DispositionsMadeSchema)
def dispose(command: dict[str, Any], recall_id: int) -> Any:
    """Record one action for certificates named, for a list, or for all that pass a filter.

    If-Match is honoured if sent; another count than was said (409) stores nothing.
    """
    with writing() as session:
        case = cases.locked(session, recall_id)
        honour_if_match(lambda: case_etag(recall_id, case.version))
        recorded = dispositions.record(session, case, command, now_us())
        missing = cases.answer(session, case)["dispositions"]["missing"]
        etag = case_etag(recall_id, case.version)
    location = f"/v1/recalls/{recall_id}/dispositions"
    return {"recorded": recorded, "missing": missing}, 201, {"ETag": etag, "Location": location}


@blp.route("/<int:recall_id>/dispositions")
@requires("read")
@blp.arguments(DispositionListQuery, location="query")
@blp.response(200, DispositionPageSchema)
def list_dispositions(query: dict[str, Any], recall_id: int) -> Any:
    """List the dispositions that count, or with history all of them, in the order made."""
    with reading() as session:
        cases.get(session, recall_id)
        found, key = dispositions.find(
            session, recall_id, query, paging.after(query), query["limit"]
        )
    return paging.answer(found, key)
