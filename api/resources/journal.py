"""The journal: who changed or asked what, and when, as a chain in which nothing can be lost."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from flask import Response

from api.schemas.journal import JournalHeadSchema, JournalLineSchema, JournalQuerySchema
from api.services.base.recording import zone_of
from api.services.upkeep import journal
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.transactions import database, reading
from graph.moments import instant_us

blp = Blueprint("journal", __name__, url_prefix="/v1/journal", description=__doc__)
JournalPageSchema = paging.page_schema("JournalPage", JournalLineSchema)


class JournalListQuery(paging.PageQuery, JournalQuerySchema):
    """Filters of the journal, and where to go on."""


@blp.route("")
@requires("admin")
@blp.arguments(JournalListQuery, location="query")
@blp.response(200, JournalPageSchema)
def list_lines(query: dict[str, Any]) -> Any:
    """List the lines of the journal, the latest first."""
    filters: dict[str, Any] = {
        name: query[name] for name in ("operation", "person") if name in query
    }
    if "key" in query:
        filters["key_id"] = query["key"]
    with reading() as session:
        if "since" in query:
            filters["since_us"] = instant_us(query["since"], zone_of(session))
        found, key = journal.find(session, filters, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("/head")
@requires("admin")
@blp.response(200, JournalHeadSchema)
def show_head() -> Any:
    """Show where the journal ends; kept elsewhere, it shows later whether lines were cut off."""
    with reading() as session:
        return journal.head(session)


@blp.route("/export.ndjson")
@requires("admin")
@blp.response(200, content_type="application/x-ndjson", description="All lines, each with its hash")
def export_lines() -> Response:
    """Stream the whole journal; `tracehold journal verify` checks such a file without a server."""
    store = database()

    def parts() -> Iterator[bytes]:
        with store.read() as session:
            for body, hash_ in journal.lines(session):
                yield journal.exported(body, hash_)

    response = Response(parts(), 200, mimetype="application/x-ndjson")
    response.headers["Content-Disposition"] = 'attachment; filename="journal.ndjson"'
    return response
