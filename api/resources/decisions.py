"""Decisions: decide one result, read, replay and draw stored decisions."""

from __future__ import annotations

from contextlib import nullcontext
from typing import Any

from flask import Response, current_app
from marshmallow import fields, validate

from api.rules.decide import VERDICTS
from api.schemas.decision_answers import (
    DecisionEntrySchema,
    DecisionReplaySchema,
    DecisionSchema,
    StoredDecisionSchema,
)
from api.schemas.decisions import NewDecisionSchema
from api.services.decisions import decisions
from api.services.decisions.requests import needs_records
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.json import dumps
from api.web.metrics import meters
from api.web.pictures import documented, picture
from api.web.transactions import author, reading, sharing, writing

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
def decide(request: dict[str, Any]) -> Response:
    """Decide whether one result conforms, and store the decision unless `store` is false."""
    # Most need nothing from the database, and opening a session would cost as much as deciding.
    with reading() if needs_records(request) else nullcontext() as session:
        if not request["store"]:
            answer = decisions.decide_unstored(session, request)
            meters().decided("unstored", {answer["verdict"]: 1})
            return _written(answer, 200)
        prepared = decisions.prepare(session, request)
    if sharing():
        with writing() as session:
            key = decisions.store(session, prepared, now_us())
    else:
        keeper: decisions.Keeper = current_app.extensions[decisions.KEEPER]
        key = keeper.keep(prepared, author(), now_us())
    meters().decided("stored", {prepared.answer["verdict"]: 1})
    response = _written({"id": key, **prepared.answer}, 201)
    response.headers["Location"] = f"/v1/decisions/{key}"
    return response


def _written(answer: dict[str, Any], status: int) -> Response:
    # The service's answer has the form of DecisionSchema already; a test dumps it to compare.
    return Response(dumps(answer), status, mimetype="application/json")


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


@blp.route("/<int:decision_id>/replay", methods=["POST"])
@requires("read")
@blp.response(200, DecisionReplaySchema)
def replay_decision(decision_id: int) -> Any:
    """Decide a stored decision again with its rule version, and list every difference.

    Nothing is stored. A difference means that the engine has changed or that the record was edited.
    """
    with reading() as session:
        return decisions.replay(session, decision_id)


@blp.route("/<int:decision_id>/figure.svg")
@requires("read")
@blp.response(**documented("svg"))
def show_figure(decision_id: int) -> Response:
    """Draw a stored decision: the result with its interval, the limits, guard bands and zones."""
    return _figure(decision_id, "svg")


@blp.route("/<int:decision_id>/figure.png")
@requires("read")
@blp.response(**documented("png"))
def show_figure_as_png(decision_id: int) -> Response:
    """Draw a stored decision as a PNG file; see figure.svg."""
    return _figure(decision_id, "png")


def _figure(decision_id: int, kind: str) -> Response:
    # Only a picture needs matplotlib, which takes long to import.
    from api.services.decisions.figure import decision_figure

    with reading() as session:
        decision, unit = decisions.decided_again(session, decision_id)
    return picture(decision_figure(decision, unit, kind, f"Decision {decision_id}"), kind)
