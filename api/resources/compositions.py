"""Compositions: which part is in which assembly, from (inclusive) until (exclusive)."""

from __future__ import annotations

from typing import Any

from api.schemas.base import CorrectionMadeSchema
from api.schemas.compositions import (
    CompositionAnswerSchema,
    CompositionCorrectionSchema,
    CompositionEndSchema,
    CompositionQuerySchema,
    CompositionSchema,
)
from api.services.base.recording import begin, record_one
from api.services.certificates.circles import refuse_through_parts
from api.services.records import composition_corrections, compositions, record_corrections
from api.services.records.record_corrections import COMPOSITION
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import (
    check_if_match,
    etag_of,
    honour_if_match,
    honours_if_match,
    needs_if_match,
)
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("compositions", __name__, url_prefix="/v1/compositions", description=__doc__)
CompositionPageSchema = paging.page_schema("CompositionPage", CompositionAnswerSchema)
CompositionCorrectionPageSchema = paging.page_schema(
    "CompositionCorrectionPage", CorrectionMadeSchema
)


class CompositionListQuery(paging.PageQuery, CompositionQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(CompositionListQuery, location="query")
@blp.response(200, CompositionPageSchema)
def list_compositions(query: dict[str, Any]) -> Any:
    """List holdings in the order they were recorded."""
    with reading() as session:
        found, key = compositions.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(CompositionSchema)
@blp.response(201, CompositionAnswerSchema)
@blp.alt_response(200, schema=CompositionAnswerSchema, description="Recorded already")
def record_composition(holding: dict[str, Any]) -> Any:
    """Record that a part is in an assembly."""
    with writing() as session:
        outcome = record_one(session, compositions.COLLECTION, holding, now_us())
        shown = compositions.shown_as(session, holding)
        made = compositions.get(session, shown["id"])
        refuse_through_parts(session, {made.assembly_id, made.part_id})
    return shown, 201 if outcome.created else 200, _headers(shown)


@blp.route("/<int:composition_id>/corrections")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, CompositionCorrectionPageSchema)
def list_composition_corrections(query: dict[str, Any], composition_id: int) -> Any:
    """List what was put right of a holding, oldest first, by pages."""
    with reading() as session:
        key = compositions.get(session, composition_id).id
        found, behind = record_corrections.find(
            session, COMPOSITION, key, paging.after(query), query["limit"]
        )
    return paging.answer(found, behind)


@blp.route("/<int:composition_id>")
@requires("read")
@blp.response(200, CompositionAnswerSchema)
def show_composition(composition_id: int) -> Any:
    """Show one holding."""
    with reading() as session:
        found = compositions.get(session, composition_id)
        (shown,) = compositions.answers(session, [found])
    return shown, 200, _headers(shown)


@blp.route("/<int:composition_id>", methods=["PATCH"])
@requires("record")
@needs_if_match
@blp.arguments(CompositionEndSchema)
@blp.response(200, CompositionAnswerSchema)
def end_composition(changes: dict[str, Any], composition_id: int) -> Any:
    """Record when the part was taken out."""
    with writing() as session:
        recording = begin(session, now_us())
        found = compositions.get(session, composition_id)
        check_if_match(etag_of(found.id, found.version))
        compositions.end(recording, found, changes["until"])
        (shown,) = compositions.answers(session, [found])
    return shown, 200, _headers(shown)


@blp.route("/<int:composition_id>/corrections", methods=["POST"])
@requires("record")
@idempotent
@honours_if_match
@blp.arguments(CompositionCorrectionSchema)
@blp.response(201, CompositionAnswerSchema)
def correct_composition(correction: dict[str, Any], composition_id: int) -> Any:
    """Correct a holding, or withdraw it; what it said stays readable."""
    with writing() as session:
        recording = begin(session, now_us())
        found = compositions.get(session, composition_id)
        honour_if_match(lambda: etag_of(found.id, found.version))
        composition_corrections.correct(recording, found, correction)
        refuse_through_parts(session, {found.assembly_id, found.part_id})
        (shown,) = compositions.answers(session, [found])
    return shown, 201, _headers(shown)


def _headers(shown: dict[str, Any]) -> dict[str, str]:
    return {
        "ETag": etag_of(shown["id"], shown["version"]),
        "Location": f"/v1/compositions/{shown['id']}",
    }
