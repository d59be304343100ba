"""Requirements: what an instrument asks of its set-up, as data with a source.

It may speak of pins, bearings, threads, seats and rods, for one item, for a make and model, or for
a type, of one rated capacity or of any. A set-up check compares a planned set-up with the most
specific one: of the item, of its make and model, of its type and capacity, of its type. Two that
count alike are an error that names both. Neighbouring models of one capacity take different pins: a
requirement of another model is never taken, and it is said that the instrument's own has none. Many
come with a laboratory (`requirements` of an import), or as a pin list from a spreadsheet.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.decision_rules import VersionQuerySchema
from api.schemas.requirements import (
    NewRequirementSchema,
    RequirementAnswerSchema,
    RequirementQuerySchema,
)
from api.services.records import requirements
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("requirements", __name__, url_prefix="/v1/requirements", description=__doc__)
RequirementPageSchema = paging.page_schema("RequirementPage", RequirementAnswerSchema)


class RequirementListQuery(paging.PageQuery, RequirementQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(RequirementListQuery, location="query")
@blp.response(200, RequirementPageSchema)
def list_requirements(query: dict[str, Any]) -> Any:
    """List the latest version of every requirement, or the one that counts for an item."""
    with reading() as session:
        found, key = requirements.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(NewRequirementSchema)
@blp.response(201, RequirementAnswerSchema)
@blp.alt_response(200, schema=RequirementAnswerSchema, description="Recorded already, unchanged")
def record_requirement(new: dict[str, Any]) -> Any:
    """Record a requirement, or the next version of one; recorded versions never change."""
    with writing() as session:
        shown, created = requirements.record(session, new, now_us())
    code = quote(shown["id"], safe="")
    location = f"/v1/requirements/{code}?version={shown['version']}"
    return shown, 201 if created else 200, {"Location": location}


@blp.route("/<path:requirement_id>")
@requires("read")
@blp.arguments(VersionQuerySchema, location="query")
@blp.response(200, RequirementAnswerSchema)
def show_requirement(query: dict[str, Any], requirement_id: str) -> Any:
    """Show one requirement, in its latest version or in the one asked for."""
    with reading() as session:
        return requirements.get(session, requirement_id, query.get("version"))
