"""Intermediate checks and inspections of items."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.checks import CheckQuerySchema, CheckSchema
from api.services.base.recording import record_one
from api.services.records import checks
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("checks", __name__, url_prefix="/v1/checks", description=__doc__)
CheckPageSchema = paging.page_schema("CheckPage", CheckSchema)


class CheckListQuery(paging.PageQuery, CheckQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(CheckListQuery, location="query")
@blp.response(200, CheckPageSchema)
def list_checks(query: dict[str, Any]) -> Any:
    """List checks in the order they were recorded."""
    with reading() as session:
        found, key = checks.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(CheckSchema)
@blp.response(201, CheckSchema)
@blp.alt_response(200, schema=CheckSchema, description="The same check was recorded already")
def record_check(check: dict[str, Any]) -> Any:
    """Record a check; the same again is answered with 200 and changes nothing."""
    with writing() as session:
        outcome = record_one(session, checks.COLLECTION, check, now_us())
        shown = checks.get(session, check["id"])
    location = f"/v1/checks/{quote(check['id'], safe='')}"
    return shown, 201 if outcome.created else 200, {"Location": location}


@blp.route("/<path:check_id>")
@requires("read")
@blp.response(200, CheckSchema)
def show_check(check_id: str) -> Any:
    """Show one check."""
    with reading() as session:
        return checks.get(session, check_id)
