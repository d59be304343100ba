"""Customers that are sent no notice of a recall, certificates nobody is told of: by whose word."""

from __future__ import annotations

from typing import Any

from api.resources.cases import case_etag, headers_of
from api.schemas.cases import CaseSchema, NoticeExceptionSchema
from api.services.casework import cases, notice_exceptions
from api.services.recalls.staleness import standing
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import honour_if_match, honours_if_match
from api.web.idempotency import idempotent
from api.web.transactions import writing

blp = Blueprint("notice_exceptions", __name__, url_prefix="/v1/recalls", description=__doc__)


@blp.route("/<int:recall_id>/notice-exceptions", methods=["POST"])
@requires("recall")
@idempotent
@honours_if_match
@blp.arguments(NoticeExceptionSchema)
@blp.response(201, CaseSchema)
def except_customers(sent: dict[str, Any], recall_id: int) -> Any:
    """Record why customers are sent no notice, or nobody is told of certificates.

    The case says so. If-Match is honoured if sent.
    """
    with writing() as session:
        case = cases.locked(session, recall_id)
        honour_if_match(lambda: case_etag(recall_id, case.version))
        notice_exceptions.record(session, case, sent, now_us())
        shown = cases.answer(session, case) | standing(session, recall_id)
    return shown, 201, headers_of(shown) | {"Location": f"/v1/recalls/{recall_id}/case"}
