"""Specifications: tolerances as data, with their edition and source."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.decision_rules import VersionQuerySchema
from api.schemas.specifications import NewSpecificationSchema, SpecificationAnswerSchema
from api.services.decisions import specifications
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint(
    "specifications",
    __name__,
    url_prefix="/v1/specifications",
    description="Tolerances as data: figures nobody could check say so in their source",
)
SpecificationPageSchema = paging.page_schema("SpecificationPage", SpecificationAnswerSchema)


@blp.route("")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, SpecificationPageSchema)
def list_specifications(query: dict[str, Any]) -> Any:
    """List the latest version of every specification."""
    with reading() as session:
        found, key = specifications.list_specifications(
            session, paging.after(query), query["limit"]
        )
    return paging.answer([definition.to_mapping() for definition in found], key)


@blp.route("", methods=["POST"])
@requires("admin")
@idempotent
@blp.arguments(NewSpecificationSchema)
@blp.response(201, SpecificationAnswerSchema)
@blp.alt_response(200, schema=SpecificationAnswerSchema, description="Recorded already, unchanged")
def record_specification(new: dict[str, Any]) -> Any:
    """Record a specification, or the next version of one; recorded versions never change."""
    with writing() as session:
        definition, created = specifications.record_specification(session, new, now_us())
    code = quote(definition.id, safe="")
    location = f"/v1/specifications/{code}?version={definition.version}"
    return definition.to_mapping(), 201 if created else 200, {"Location": location}


@blp.route("/<path:specification_id>")
@requires("read")
@blp.arguments(VersionQuerySchema, location="query")
@blp.response(200, SpecificationAnswerSchema)
def show_specification(query: dict[str, Any], specification_id: str) -> Any:
    """Show one specification, in its latest version or in the one asked for."""
    with reading() as session:
        definition, versions = specifications.get_specification(
            session, specification_id, query.get("version")
        )
    return {**definition.to_mapping(), "versions": list(versions)}
