"""Imports: a laboratory as one document, all or nothing, safe to repeat."""

from __future__ import annotations

from typing import Any

from api.schemas.imports import ImportAnswerSchema, ImportQuerySchema, LaboratorySchema
from api.services import imports
from api.web.auth import requires
from api.web.blueprints import Blueprint, takes_bulk
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import writing

blp = Blueprint("imports", __name__, url_prefix="/v1/imports", description=__doc__)


@blp.route("", methods=["POST"])
@requires("record")
@takes_bulk
@idempotent
@blp.arguments(ImportQuerySchema, location="query")
@blp.arguments(LaboratorySchema)
@blp.response(201, ImportAnswerSchema)
@blp.alt_response(200, schema=ImportAnswerSchema, description="A dry run: nothing was stored")
def import_laboratory(query: dict[str, Any], laboratory: dict[str, Any]) -> Any:
    """Import a laboratory file; with dry_run it is only checked."""
    with writing() as session:
        counts = imports.import_laboratory(session, laboratory, now_us())
        if query["dry_run"]:
            session.rollback()
            return counts | {"dry_run": True}, 200
    return counts, 201
