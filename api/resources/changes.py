"""The change feed: what happened to certificates, recalls and notices, for a LIMS to follow."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from flask import request

from api.resources.access import customer_of_key
from api.schemas.changes import ChangeQuerySchema, ChangesSchema
from api.services.base.recording import zone_of
from api.services.feed import changes
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.transactions import reading
from graph.moments import instant_us

blp = Blueprint("changes", __name__, url_prefix="/v1/changes", description=__doc__)


@blp.route("")
@requires("read", customers=True)
@blp.arguments(ChangeQuerySchema, location="query")
@blp.response(200, ChangesSchema)
def list_changes(query: dict[str, Any]) -> Any:
    """List changes behind a cursor or since an instant, in order; ask again with the cursor."""
    since = query["since"]
    with reading() as session:
        found, cursor, more = changes.find(
            session,
            query["limit"],
            after=since if isinstance(since, int) else 0,
            since_us=None if isinstance(since, int) else instant_us(since, zone_of(session)),
            events=query.get("events"),
            customer=customer_of_key(),
        )
    kept = [(name, value) for name, value in request.args.items() if name != "since"]
    following = f"/v1/changes?{urlencode([('since', cursor), *kept])}"
    headers = {"Link": f'<{following}>; rel="next"'} if more else {}
    answer = {"items": found, "cursor": str(cursor), "next": following if more else None}
    return answer, 200, headers
