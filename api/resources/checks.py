"""Intermediate checks and inspections of items."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.base import CorrectionMadeSchema
from api.schemas.checks import (
    CheckAnswerSchema,
    CheckCorrectionSchema,
    CheckQuerySchema,
    CheckSchema,
)
from api.services.base.recording import begin, record_one
from api.services.records import check_corrections, checks, record_corrections
from api.services.records.record_corrections import CHECKS
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import etag_of, honour_if_match, honours_if_match
from api.web.idempotency import idempotent
from api.web.json import dumps
from api.web.transactions import reading, writing

blp = Blueprint("checks", __name__, url_prefix="/v1/checks", description=__doc__)
CheckPageSchema = paging.page_schema("CheckPage", CheckAnswerSchema)
CheckCorrectionPageSchema = paging.page_schema("CheckCorrectionPage", CorrectionMadeSchema)


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
@blp.response(201, CheckAnswerSchema)
@blp.alt_response(200, schema=CheckAnswerSchema, description="The same check was recorded already")
def record_check(check: dict[str, Any]) -> Any:
    """Record a check; the same again is answered with 200 and changes nothing."""
    with writing() as session:
        outcome = record_one(session, checks.COLLECTION, check, now_us())
        (shown,) = checks.answers(session, [checks.get(session, check["id"])])
    return shown, 201 if outcome.created else 200, _headers(shown)


@blp.route("/<path:check_id>/corrections", methods=["POST"])
@requires("record")
@idempotent
@honours_if_match
@blp.arguments(CheckCorrectionSchema)
@blp.response(201, CheckAnswerSchema)
def correct_check(correction: dict[str, Any], check_id: str) -> Any:
    """Correct a check, or withdraw it; what it said stays readable."""
    with writing() as session:
        recording = begin(session, now_us())
        found = checks.get(session, check_id)
        honour_if_match(lambda: _headers(*checks.answers(session, [found]))["ETag"])
        check_corrections.correct(recording, found, correction)
        (shown,) = checks.answers(session, [found])
    return shown, 201, _headers(shown)


@blp.route("/<path:check_id>/corrections")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, CheckCorrectionPageSchema)
def list_check_corrections(query: dict[str, Any], check_id: str) -> Any:
    """List what was put right of a check, oldest first, by pages."""
    with reading() as session:
        key = checks.get(session, check_id).id
        found, behind = record_corrections.find(
            session, CHECKS, key, paging.after(query), query["limit"]
        )
    return paging.answer(found, behind)


@blp.route("/<path:check_id>")
@requires("read")
@blp.response(200, CheckAnswerSchema)
def show_check(check_id: str) -> Any:
    """Show one check."""
    with reading() as session:
        (shown,) = checks.answers(session, [checks.get(session, check_id)])
    return shown, 200, _headers(shown)


def _headers(shown: dict[str, Any]) -> dict[str, str]:
    return {
        "Location": f"/v1/checks/{quote(shown['id'], safe='')}",
        "ETag": etag_of(dumps(shown).decode(), 1),  # of the whole answer, corrections included
    }
