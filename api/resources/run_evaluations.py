"""Run evaluations: raw runs of a force instrument, evaluated.

At each force: spread, zero, fit, U and class. The components of an evaluated point have the form
that an uncertainty budget takes. What the records cannot give is null with the reason.

Runs may name the check of the set-up that they were made in: item and U of the reference are then
taken from there. A budget and a calibration name runs in their turn; stored runs are never edited.
"""

from __future__ import annotations

from typing import Any

from api.schemas.run_evaluations import (
    NewRunEvaluationSchema,
    RunEntrySchema,
    RunEvaluationSchema,
    RunQuerySchema,
    StoredRunEvaluationSchema,
)
from api.services.uncertainty import run_evaluations
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint(
    "run-evaluations",
    __name__,
    url_prefix="/v1/run-evaluations",
    description=__doc__,
)
RunEvaluationPageSchema = paging.page_schema("RunEvaluationPage", RunEntrySchema)


class RunListQuery(paging.PageQuery, RunQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(RunListQuery, location="query")
@blp.response(200, RunEvaluationPageSchema)
def list_run_evaluations(query: dict[str, Any]) -> Any:
    """List stored evaluations in short, the latest first."""
    with reading() as session:
        found, key = run_evaluations.list_evaluations(
            session, query.get("item"), paging.after(query), query["limit"]
        )
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("decide")
@idempotent
@blp.arguments(NewRunEvaluationSchema)
@blp.response(201, RunEvaluationSchema)
@blp.alt_response(200, schema=RunEvaluationSchema, description="Evaluated, not stored")
def evaluate_runs(request: dict[str, Any]) -> Any:
    """Evaluate raw runs, and store the evaluation unless `store` is false."""
    if not request["store"]:
        with reading() as session:
            return run_evaluations.evaluate_unstored(session, request), 200
    with writing() as session:
        shown = run_evaluations.evaluate_stored(session, request, now_us())
    return shown, 201, {"Location": f"/v1/run-evaluations/{shown['id']}"}


@blp.route("/<int:evaluation_id>")
@requires("read")
@blp.response(200, StoredRunEvaluationSchema)
def show_run_evaluation(evaluation_id: int) -> Any:
    """Show a stored evaluation with the request that it answers."""
    with reading() as session:
        return run_evaluations.get_evaluation(session, evaluation_id)
