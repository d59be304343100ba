"""Imports from a spreadsheet: CSV files by a column mapping; every refused row is reported.

The mapping says which column is which field, how dates and numbers are written and what each word
means. The report names every refused row with its column, value, reason and remedy, the rows lost
with it, and what is missing. Nothing is stored until all rows are good, or `refused=skip` stores
the rest, each certificate whole or not at all. Files are UTF-8; what a cell begins with is data,
never a formula.
"""

from __future__ import annotations

from typing import Any, BinaryIO, cast

from flask import Response, request
from marshmallow import Schema, ValidationError
from webargs.flaskparser import abort

from api.errors import Issue
from api.resources.imports import faults_of
from api.schemas.calibrations import CalibrationSchema
from api.schemas.checks import CheckSchema
from api.schemas.compositions import CompositionSchema
from api.schemas.csv_imports import CsvImportAnswerSchema, CsvImportQuerySchema
from api.schemas.import_mappings import KINDS, ImportMappingSchema
from api.schemas.items import ItemSchema
from api.schemas.requirements import NewRequirementSchema
from api.services.imports.csv_files import CsvFile
from api.services.imports.csv_imports import CsvImport
from api.services.imports.csv_mapping import MAPPING, tables_of
from api.services.imports.csv_records import read_tables
from api.services.imports.csv_reports import report, report_csv
from api.web.auth import requires
from api.web.blueprints import Blueprint, takes_bulk
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.json import dumps, loads
from api.web.problems import Problem
from api.web.transactions import writing

SUMMARY = "Tracehold-Summary"
COUNTS = ("stored", "dry_run", "created", "unchanged", "alerts", "notes")
SCHEMAS: dict[str, Schema] = {
    "items": ItemSchema(),
    "composition": CompositionSchema(),
    "calibrations": CalibrationSchema(),
    "checks": CheckSchema(),
    "requirements": NewRequirementSchema(),
}
MAPPING_SCHEMA = ImportMappingSchema()

blp = Blueprint("csv_imports", __name__, url_prefix="/v1/imports/csv", description=__doc__)


@blp.route("", methods=["POST"])
@requires("record")
@takes_bulk
@idempotent
@blp.arguments(CsvImportQuerySchema, location="query")
@blp.doc(
    requestBody={
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": [MAPPING],
                    "properties": {MAPPING: ImportMappingSchema},
                    "additionalProperties": {
                        "type": "string",
                        "contentMediaType": "text/csv",
                        "description": "A file that the mapping names by its part or file name",
                    },
                },
                "encoding": {MAPPING: {"contentType": "application/json"}},
            }
        },
    },
    responses={
        200: {"content": {"text/csv": {"schema": {"type": "string"}}}},
        201: {"content": {"text/csv": {"schema": {"type": "string"}}}},
    },
)
@blp.response(201, CsvImportAnswerSchema)
@blp.alt_response(200, schema=CsvImportAnswerSchema, description="A dry run: nothing was stored")
def import_csv(query: dict[str, Any]) -> Any:
    """Import CSV files by a column mapping; with dry_run they are only checked.

    The body is multipart/form-data: the part `mapping`, and one part for each file. A record goes
    in whole or not at all. If a row is refused nothing is stored and the problem holds the whole
    `report`; with `refused=skip` what is without fault goes in, in one transaction, and the rest
    comes back. With `Accept: text/csv` a success is answered with the refused rows as CSV, and with
    the counts in the header Tracehold-Summary.
    """
    mapping = _mapping()
    done = _read(mapping)
    skip, dry_run = query["refused"] == "skip", query["dry_run"]
    stored = _stored(done, skip, dry_run)
    found = report(done)
    if not (stored or dry_run):
        _refuse(found)
    answer = {
        "stored": stored,
        **({"dry_run": True} if dry_run else {}),
        **(done.counts or {"created": {}, "unchanged": {}}),
        **found,
    }
    status = 200 if dry_run else 201
    if request.accept_mimetypes.best_match(["application/json", "text/csv"]) == "text/csv":
        return _as_csv(answer, query["raw"], status)
    return answer, status


def _stored(done: CsvImport, skip: bool, dry_run: bool) -> bool:
    """Try until nothing more is refused; whether it was stored then."""
    while True:
        with writing() as session:
            ended = done.attempt(session, now_us())
            good = ended and done.counts is not None and (skip or not done.records.refusals)
            if dry_run or not good:
                session.rollback()
        if ended:
            return good and not dry_run


def _refuse(found: dict[str, Any]) -> None:
    refused = found["refused"]
    issues = [
        Issue(
            "",
            one["reason"],
            one["remedy"],
            one.get("value"),
            {name: one[name] for name in ("file", "row", "line", "column") if name in one},
        )
        for one in refused
        if not one["dragged"]
    ]
    rows = sum(one["refused"] + one["dragged"] for one in found["files"])
    detail = f"{rows} row(s) were refused; nothing was stored."
    raise Problem("rows-refused", detail, issues, more={"report": found})


def _as_csv(answer: dict[str, Any], raw: bool, status: int) -> Response:
    text = "".join(report_csv(answer["refused"], raw=raw))
    refused = len(answer["refused"])
    response = Response(text, status, mimetype="text/csv")
    counts = {name: answer[name] for name in COUNTS if name in answer}
    response.headers[SUMMARY] = dumps(counts | {"refused": refused}).decode()
    return response


def _mapping() -> dict[str, Any]:
    if request.mimetype != "multipart/form-data":
        detail = f"Send multipart/form-data; not {request.mimetype or 'nothing'}."
        raise Problem("unsupported-media-type", detail)
    sent: str | bytes | None = request.form.get(MAPPING)
    if MAPPING in request.files:
        sent = request.files[MAPPING].read()
    if sent is None:
        issue = Issue("", "there is no part called mapping", "send it beside the files")
        raise Problem("invalid-request", "The mapping is missing.", [issue])
    try:
        loaded: dict[str, Any] = MAPPING_SCHEMA.load(loads(sent))
    except ValidationError as error:
        abort(422, exc=error, messages={"json": error.messages})
    return loaded


def _files() -> dict[str, CsvFile]:
    """Return the files that were sent, by the name of the part and of the file."""
    files: dict[str, CsvFile] = {}
    for part, sent in request.files.items(multi=True):
        if part == MAPPING:
            continue
        file = CsvFile(sent.filename or part, cast(BinaryIO, sent.stream))
        for name in {file.name, part}:
            if files.setdefault(name, file) is not file and name == file.name:
                issue = Issue("", "two files have this name", "give each its own", name)
                raise Problem("invalid-request", "The files cannot be told apart.", [issue])
    return files


def _read(mapping: dict[str, Any]) -> CsvImport:
    tables = tables_of(mapping, _files(), KINDS)
    done = CsvImport(mapping, tables, read_tables(tables))
    done.load(_loaded)
    return done


def _loaded(collection: str, raw: dict[str, Any]) -> tuple[dict[str, Any], list[Issue]]:
    try:
        return SCHEMAS[collection].load(raw), []
    except ValidationError as error:
        return {}, faults_of(error)
