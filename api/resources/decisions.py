"""Decisions: decide one result, read stored decisions."""

from __future__ import annotations

from typing import Any

from marshmallow import fields, validate

from api.rules.decide import VERDICTS
from api.schemas.decisions import (
    DecisionEntrySchema,
    DecisionSchema,
    NewDecisionSchema,
    StoredDecisionSchema,
)
from api.services import decisions
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint(
    "decisions", __name__, url_prefix="/v1/decisions", description="Does a result conform?"
)
DecisionPageSchema = paging.page_schema("DecisionPage", DecisionEntrySchema)


class DecisionQuery(paging.PageQuery):
    """Filters of the list of decisions."""

    verdict = fields.String(validate=validate.OneOf(VERDICTS))


@blp.route("", methods=["POST"])
@requires("decide")
@idempotent
@blp.arguments(NewDecisionSchema)
@blp.response(201, DecisionSchema)
@blp.alt_response(200, schema=DecisionSchema, description="Decided, not stored")
def decide(request: dict[str, Any]) -> Any:
    """Decide whether one result conforms, and store the decision unless `store` is false."""
    if not request["store"]:
        with reading() as session:
            return decisions.decide_one(session, request, now_us()), 200
    with writing() as session:
        answer = decisions.decide_one(session, request, now_us())
    return answer, 201, {"Location": f"/v1/decisions/{answer['id']}"}


@blp.route("")
@requires("read")
@blp.arguments(DecisionQuery, location="query")
@blp.response(200, DecisionPageSchema)
def list_decisions(query: dict[str, Any]) -> Any:
    """List stored decisions in short, the latest first."""
    with reading() as session:
        found, key = decisions.list_decisions(
            session, query.get("verdict"), paging.after(query), query["limit"]
        )
    return paging.answer(found, key)


@blp.route("/<int:decision_id>")
@requires("read")
@blp.response(200, StoredDecisionSchema)
def show_decision(decision_id: int) -> Any:
    """Show a stored decision with the request that it answers."""
    with reading() as session:
        return decisions.get_decision(session, decision_id)
