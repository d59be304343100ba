"""Files of a recall: the picture, lists as CSV, XLSX and NDJSON, and the evidence as graphs."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from typing import IO, Any

from flask import Response, request

from api.errors import NotFound
from api.pages.layout import pages
from api.pages.sessions import page
from api.services.base import sheets
from api.services.evidence import evidence, exports
from api.services.recalls import lists, recalls
from api.store.database import Database
from api.web.pictures import picture
from api.web.transactions import database, reading
from graph.affected import certificate_node, identity
from graph.lists import LISTS

blp = pages("recall_files")
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
CHUNK = 64 * 1024


@blp.route("/recalls/<int:recall_id>/figure.svg")
@page("read")
def show_figure(recall_id: int) -> Response:
    """Draw the affected part; what leads to the certificate named in the query stands out."""
    # Only a picture needs matplotlib, which takes long to import.
    from api.services.evidence.figure import recall_figure

    number = request.args.get("chosen")
    with reading() as session:
        stored = recalls.get(session, recall_id)
        part = evidence.affected_graph(session, stored)
        found = None
        if number:
            issuer, revision = request.args.get("issuer"), request.args.get("revision", type=int)
            found = lists.entry_of(session, recall_id, number, issuer, revision)
    chosen = None if found is None else certificate_node(identity(found[1]))
    return picture(recall_figure(part, "svg", f"Recall {stored.number}", chosen), "svg")


@blp.route("/recalls/<int:recall_id>/export.<kind>")
@page("read")
def export(recall_id: int, kind: str) -> Response:
    """Export the recalled certificates: csv and xlsx with a row a point, ndjson, prov, graphml."""
    with reading() as session:
        stored = recalls.get(session, recall_id)
        if kind == "prov":
            body = evidence.provenance(session, stored)
            return _file([body], "application/json", f"{stored.number}-prov.json")
        if kind == "graphml":
            body = evidence.as_graphml(session, stored)
            return _file([body], "application/graphml+xml", f"{stored.number}.graphml")
    name = f"{stored.number}.{kind}"
    if kind == "csv":
        return _file(_csv(database(), recall_id), "text/csv", name)
    if kind == "ndjson":
        return _file(_lines(database(), stored), "application/x-ndjson", name)
    if kind == "xlsx":
        return _workbook(stored, name)
    raise NotFound(f"a recall has no export {kind}")


def _csv(store: Database, recall_id: int) -> Iterator[str]:
    with store.read() as session:
        rows = exports.rows(session, recall_id, lists.RECALLED)
        yield from sheets.csv_parts(exports.COLUMNS, rows, raw=False)


def _lines(store: Database, stored: Any) -> Iterator[bytes]:
    with store.read() as session:
        yield from exports.lines(session, stored, LISTS)


def _workbook(stored: Any, name: str) -> Response:
    file = tempfile.TemporaryFile()  # noqa: SIM115  # closed when the answer has been sent
    with reading() as session:
        rows = exports.rows(session, stored.id, lists.RECALLED)
        made = (stored.number, stored.created_us)
        sheets.write_xlsx(file, *made, exports.COLUMNS, rows, raw=False)
    file.seek(0)
    response = _file(_sent(file), XLSX, name)
    response.call_on_close(file.close)
    return response


def _sent(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while chunk := file.read(CHUNK):
            yield chunk


def _file(body: Any, media_type: str, name: str) -> Response:
    response = Response(body, 200, mimetype=media_type)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
