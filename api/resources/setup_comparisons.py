"""Comparisons of two set-ups on one instrument: what a pin or a bearing does to a reading.

The instrument is read with both set-ups, in runs. The comparison says how much they differ, how
sure that is and what it adds to an uncertainty budget; it can become a fault, and the fault a
recall, in which types of instrument that nobody compared are listed for review.
"""

from __future__ import annotations

from typing import Any

from api.schemas.setup_comparisons import (
    NewSetupComparisonSchema,
    SetupComparisonEntrySchema,
    SetupComparisonQuerySchema,
    SetupComparisonSchema,
    SetupFaultRequestSchema,
    SetupFaultSchema,
)
from api.services.setups import comparison_faults, setup_comparisons
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint(
    "setup_comparisons", __name__, url_prefix="/v1/setup-comparisons", description=__doc__
)
SetupComparisonPageSchema = paging.page_schema("SetupComparisonPage", SetupComparisonEntrySchema)


class SetupComparisonListQuery(paging.PageQuery, SetupComparisonQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(SetupComparisonListQuery, location="query")
@blp.response(200, SetupComparisonPageSchema)
def list_setup_comparisons(query: dict[str, Any]) -> Any:
    """List comparisons in short, the latest recorded first."""
    with reading() as session:
        found, key = setup_comparisons.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(NewSetupComparisonSchema)
@blp.response(201, SetupComparisonSchema)
@blp.alt_response(200, schema=SetupComparisonSchema, description="Worked out, not stored")
def compare_setups(request: dict[str, Any]) -> Any:
    """Compare two set-ups, and store the comparison unless `store` is false.

    It says what the set-ups did to readings, never that one is safe to load: stay within the rated
    capacity of the weakest part, keep clear of the load line, follow local codes, and leave the
    judgement to a competent, authorised person.
    """
    if not request["store"]:
        with reading() as session:
            return setup_comparisons.compare_unstored(session, request), 200
    with writing() as session:
        answer = setup_comparisons.record(session, request, now_us())
    return answer, 201, {"Location": f"/v1/setup-comparisons/{answer['id']}"}


@blp.route("/<int:comparison_id>")
@requires("read")
@blp.response(200, SetupComparisonSchema)
def show_setup_comparison(comparison_id: int) -> Any:
    """Show a stored comparison with the readings it was made of."""
    with reading() as session:
        return setup_comparisons.get(session, comparison_id)


@blp.route("/<int:comparison_id>/fault", methods=["POST"])
@requires("recall")
@blp.arguments(SetupFaultRequestSchema)
@blp.response(200, SetupFaultSchema)
def draft_setup_fault(request: dict[str, Any], comparison_id: int) -> Any:
    """Make the fault of a recall from a comparison; nothing is stored.

    The answer is what POST /v1/recalls takes, unchanged.
    """
    with reading() as session:
        return comparison_faults.fault_of(session, comparison_id, request)
