"""Load cycles of parts: counted over all calibrations, compared with the design life, foreseen.

Every calibration adds its load applications to the parts that an assembly then held. An item's own
address has the count, the share of the design life, the date on which it is used up at the present
rate, and the uses that came later; the list has the parts near their end.
"""

from __future__ import annotations

from typing import Any

from api.schemas.cycles import CycleQuerySchema, CyclesSchema, CycleTotalSchema, NearLifeQuerySchema
from api.services.life import cycles, ledgers
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.transactions import reading

blp = Blueprint("cycles", __name__, url_prefix="/v1", description=__doc__)
CyclePageSchema = paging.page_schema("CyclePage", CycleTotalSchema)


class NearLifeQuery(paging.PageQuery, NearLifeQuerySchema):
    """From which share of their life parts are listed, and where to go on."""


@blp.route("/cycles")
@requires("read")
@blp.arguments(NearLifeQuery, location="query")
@blp.response(200, CyclePageSchema)
def list_near_life(query: dict[str, Any]) -> Any:
    """List parts near the end of their design life or past it, the most used first."""
    with reading() as session:
        found, key = cycles.near_life(session, query, now_us(), paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("/items/<path:item_id>/cycles")
@requires("read")
@blp.arguments(CycleQuerySchema, location="query")
@blp.response(200, CyclesSchema)
def show_cycles(query: dict[str, Any], item_id: str) -> Any:
    """Show what loaded an item: the count, its life, the rate, and uses that came too late."""
    with reading() as session:
        return ledgers.ledger(session, item_id, query, now_us())
