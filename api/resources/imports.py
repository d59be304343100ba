"""Imports: a laboratory as one document or as lines, all or nothing, safe to repeat.

A laboratory is one document with `items`, `composition` (which part was in which assembly, and
when), `calibrations` (each with its certificate, the items it used and its results), `checks`, and
`requirements` (what models ask of a set-up), of which other content under a known id is the next
version. A large one comes as NDJSON, each line a piece of the document such as `{"items": {...}}`.
Everything can also be recorded piece by piece, at the address of its name.
"""

from __future__ import annotations

from typing import Any

from flask import request
from marshmallow import ValidationError

from api.errors import Issue, TraceholdError
from api.schemas.imports import ImportAnswerSchema, ImportQuerySchema, LaboratorySchema
from api.services.batches.formats import NDJSON
from api.services.imports import imports
from api.services.imports.lines import Lines, read_lines
from api.web.auth import requires
from api.web.blueprints import Blueprint, takes_bulk
from api.web.bodies import spooled
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.json import loads
from api.web.transactions import writing
from api.web.validation import issues_of

blp = Blueprint("imports", __name__, url_prefix="/v1/imports", description=__doc__)
DOCUMENT = LaboratorySchema()
_LINES = {
    "schema": {"type": "string"},
    "example": '{"time_zone": "Europe/Vienna"}\n'
    '{"items": {"id": "WS-1", "kind": "working_standard"}}\n'
    '{"calibrations": {"certificate": "W-1", "item": "WS-1", "performed_at": "2025-03-10"}}\n',
}


@blp.route("", methods=["POST"])
@requires("record")
@takes_bulk
@idempotent
@blp.arguments(ImportQuerySchema, location="query")
@blp.doc(
    requestBody={
        "required": True,
        "content": {
            "application/json": {"schema": LaboratorySchema},
            NDJSON.media_types[0]: _LINES,
        },
    }
)
@blp.response(201, ImportAnswerSchema)
@blp.alt_response(200, schema=ImportAnswerSchema, description="A dry run: nothing was stored")
def import_laboratory(query: dict[str, Any]) -> Any:
    """Import a laboratory file; with dry_run it is only checked.

    As NDJSON each line is a piece of the file, with one record in the place of a list; lines may
    stand in any order, those without a record are the heading (`time_zone`, `title`, `note` ...).
    A fault names its line, with a pointer into it. The result is that of the one document.
    """
    if request.mimetype in NDJSON.media_types:
        return _lines(query["dry_run"])
    laboratory = blp.ARGUMENTS_PARSER.load(DOCUMENT, request, "json")
    return _stored(imports.Document(laboratory), query["dry_run"])


def _lines(dry_run: bool) -> Any:
    with Lines() as lines:
        with spooled() as body:
            read_lines(body, lines, loads, _loaded)
        try:
            return _stored(lines, dry_run)
        except TraceholdError as error:
            raise lines.located(error) from error


def _stored(source: imports.Source, dry_run: bool) -> Any:
    with writing() as session:
        counts = imports.import_source(session, source, now_us())
        if dry_run:
            session.rollback()
            return counts | {"dry_run": True}, 200
    return counts, 201


def _loaded(piece: dict[str, Any]) -> tuple[dict[str, Any], list[Issue]]:
    try:
        return DOCUMENT.load(piece), []
    except ValidationError as error:
        return {}, faults_of(error)


def faults_of(error: ValidationError) -> list[Issue]:
    """Return what a schema found, as issues with pointers into what was loaded."""
    return [
        Issue(one["pointer"], one["detail"], one.get("remedy", ""), one.get("value"))
        for one in issues_of({"json": error.messages}, error)
    ]
