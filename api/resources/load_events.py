"""Load events: what loaded or hit an item outside a calibration.

Proof loads, overloads, falls and other uses; but for the last, the part wants an inspection before
its next load.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.load_events import LoadEventQuerySchema, LoadEventSchema
from api.services.life import load_events
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("load_events", __name__, url_prefix="/v1/load-events", description=__doc__)
LoadEventPageSchema = paging.page_schema("LoadEventPage", LoadEventSchema)


class LoadEventListQuery(paging.PageQuery, LoadEventQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(LoadEventListQuery, location="query")
@blp.response(200, LoadEventPageSchema)
def list_load_events(query: dict[str, Any]) -> Any:
    """List load events in the order they were recorded."""
    with reading() as session:
        found, key = load_events.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(LoadEventSchema)
@blp.response(201, LoadEventSchema)
@blp.alt_response(200, schema=LoadEventSchema, description="The same event was recorded already")
def record_load_event(event: dict[str, Any]) -> Any:
    """Record a load event; the same again is answered with 200 and changes nothing."""
    with writing() as session:
        created = load_events.record(session, event, now_us())
        shown = load_events.get(session, event["id"])
    location = f"/v1/load-events/{quote(event['id'], safe='')}"
    return shown, 201 if created else 200, {"Location": location}


@blp.route("/<path:event_id>")
@requires("read")
@blp.response(200, LoadEventSchema)
def show_load_event(event_id: str) -> Any:
    """Show one load event."""
    with reading() as session:
        return load_events.get(session, event_id)
