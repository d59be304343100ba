"""Exports of a recall: a row for each point as CSV or XLSX, or its entries as a stream of JSON.

Tables that a spreadsheet opens (CSV and XLSX, those of batches too) carry an apostrophe before a
text that would run as a formula; numbers such as -860 stay. Programs ask for `?raw=true`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from typing import IO, Any

from flask import Response

from api.schemas.exports import ExportQuerySchema, TableQuerySchema
from api.services.base import sheets
from api.services.evidence import exports
from api.services.recalls import recalls
from api.store.database import Database
from api.store.tables import Recall
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.transactions import database, reading
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, LISTS, NOT_EXCLUDED

blp = Blueprint("exports", __name__, url_prefix="/v1/recalls", description=__doc__)
RECALLED = (AFFECTED, INDETERMINATE, EXPOSED, NOT_EXCLUDED)
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
CHUNK = 64 * 1024


@blp.route("/<int:recall_id>/export.csv")
@requires("read")
@blp.arguments(TableQuerySchema, location="query")
@blp.response(200, content_type="text/csv", description="One row for each point")
def export_csv(query: dict[str, Any], recall_id: int) -> Any:
    """Export the recalled certificates as CSV; texts that look like formulas get an apostrophe."""
    recall = _recall(recall_id)
    lists = query.get("lists", RECALLED)

    def parts(store: Database) -> Iterator[str]:
        with store.read() as session:
            rows = exports.rows(session, recall_id, lists)
            yield from sheets.csv_parts(exports.COLUMNS, rows, raw=query["raw"])

    return _file(parts(database()), "text/csv", f"{recall.number}.csv")


@blp.route("/<int:recall_id>/export.xlsx")
@requires("read")
@blp.arguments(TableQuerySchema, location="query")
@blp.response(200, content_type=XLSX, description="One row for each point")
def export_xlsx(query: dict[str, Any], recall_id: int) -> Any:
    """Export the recalled certificates as a workbook; numbers keep their digits."""
    recall = _recall(recall_id)
    file = tempfile.TemporaryFile()  # noqa: SIM115  # closed when the answer has been sent
    with reading() as session:
        rows = exports.rows(session, recall_id, query.get("lists", RECALLED))
        sheets.write_xlsx(
            file, recall.number, recall.created_us, exports.COLUMNS, rows, raw=query["raw"]
        )
    file.seek(0)
    response = _file(_sent(file), XLSX, f"{recall.number}.xlsx")
    response.call_on_close(file.close)  # where nothing is read from it, too
    return response


def _sent(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while chunk := file.read(CHUNK):
            yield chunk


@blp.route("/<int:recall_id>/export.ndjson")
@requires("read")
@blp.arguments(ExportQuerySchema, location="query")
@blp.response(200, content_type="application/x-ndjson", description="Entries, then the summary")
def export_ndjson(query: dict[str, Any], recall_id: int) -> Any:
    """Stream every entry as a line of JSON; the last line is the summary, so nothing is missing."""
    recall = _recall(recall_id)
    lists = query.get("lists", LISTS)

    def parts(store: Database) -> Iterator[bytes]:
        with store.read() as session:
            yield from exports.lines(session, recall, lists)

    return _file(parts(database()), "application/x-ndjson", f"{recall.number}.ndjson")


def _recall(recall_id: int) -> Recall:
    with reading() as session:
        return recalls.get(session, recall_id)


def _file(body: Iterator[Any], media_type: str, name: str) -> Response:
    response = Response(body, 200, mimetype=media_type)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
