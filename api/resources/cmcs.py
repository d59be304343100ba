"""CMCs: the smallest uncertainty that the laboratory states for a force and mode.

A result or budget whose U is below one says so (`below_cmc`), worked out when it is read; it is
never refused.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.cmcs import CmcAnswerSchema, NewCmcSchema
from api.schemas.decision_rules import VersionQuerySchema
from api.services.uncertainty import cmcs
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint(
    "cmcs",
    __name__,
    url_prefix="/v1/cmcs",
    description=__doc__,
)
CmcPageSchema = paging.page_schema("CmcPage", CmcAnswerSchema)


@blp.route("")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, CmcPageSchema)
def list_cmcs(query: dict[str, Any]) -> Any:
    """List the latest version of every capability."""
    with reading() as session:
        found, key = cmcs.list_cmcs(session, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("admin")
@idempotent
@blp.arguments(NewCmcSchema)
@blp.response(201, CmcAnswerSchema)
@blp.alt_response(200, schema=CmcAnswerSchema, description="Recorded already, unchanged")
def record_cmc(new: dict[str, Any]) -> Any:
    """Record a capability, or the next version of one; recorded versions never change."""
    with writing() as session:
        made, created = cmcs.record_cmc(session, new, now_us())
    location = f"/v1/cmcs/{quote(made['id'], safe='')}?version={made['version']}"
    return made, 201 if created else 200, {"Location": location}


@blp.route("/<path:cmc_id>")
@requires("read")
@blp.arguments(VersionQuerySchema, location="query")
@blp.response(200, CmcAnswerSchema)
def show_cmc(query: dict[str, Any], cmc_id: str) -> Any:
    """Show one capability, in its latest version or in the one asked for."""
    with reading() as session:
        return cmcs.get_cmc(session, cmc_id, query.get("version"))
