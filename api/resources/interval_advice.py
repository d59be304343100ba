"""Interval advice: when an item should be calibrated again.

An advice is worked out, with its reasons; what the records cannot give is null with the reason. The
laboratory decides.
"""

from __future__ import annotations

from typing import Any

from api.schemas.interval_advice import IntervalAdviceSchema, IntervalQuerySchema
from api.services.life import interval_advice
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.transactions import reading

blp = Blueprint("interval-advice", __name__, url_prefix="/v1/items", description=__doc__)


@blp.route("/<path:item_id>/interval-advice")
@requires("read")
@blp.arguments(IntervalQuerySchema, location="query")
@blp.response(200, IntervalAdviceSchema)
def show_interval_advice(query: dict[str, Any], item_id: str) -> Any:
    """Advise a recalibration interval from history and use; the laboratory decides."""
    with reading() as session:
        return interval_advice.advice(session, item_id, query, now_us())
