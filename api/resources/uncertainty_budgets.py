"""Uncertainty budgets: from components to a stated U, evaluated, stored and read.

A budget takes its components, each with distribution, divisor, sensitivity, degrees of freedom and
correlations, and answers with u, the effective degrees of freedom, k, U and the share of each.

- correlated components: joint variance, signed shares, one input of the Welch-Satterthwaite formula
- k: Student's t (95.45 % unless asked), as stated, or from the density where a rectangle dominates
- floor: what `POST /v1/cmcs` recorded; U is stated no smaller
- rounding: U up to two significant digits, the value to the same place
- `run_evaluation`: the points are the forces of stored runs, their contributions are among it
- a decision names a budget (`"budget": "B-1"`) in the place of U, k and dof
- a calibration or a result of one names the `budget` its U is from; a U that contradicts it is
  refused, and so is a force beyond its points
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.budget_answers import BudgetEntrySchema, BudgetSchema, StoredBudgetSchema
from api.schemas.uncertainty_budgets import NewBudgetSchema
from api.services.uncertainty import uncertainty_budgets
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint(
    "uncertainty_budgets",
    __name__,
    url_prefix="/v1/uncertainty-budgets",
    description=__doc__,
)
BudgetPageSchema = paging.page_schema("BudgetPage", BudgetEntrySchema)


@blp.route("")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, BudgetPageSchema)
def list_budgets(query: dict[str, Any]) -> Any:
    """List stored budgets in short, the latest first."""
    with reading() as session:
        found, key = uncertainty_budgets.list_budgets(session, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("decide")
@idempotent
@blp.arguments(NewBudgetSchema)
@blp.response(201, BudgetSchema)
@blp.alt_response(200, schema=BudgetSchema, description="Not stored, or recorded already")
def evaluate_budget(request: dict[str, Any]) -> Any:
    """Evaluate an uncertainty budget, and store it unless `store` is false."""
    if not request["store"]:
        with reading() as session:
            return uncertainty_budgets.evaluate(session, request), 200
    with writing() as session:
        made, created = uncertainty_budgets.record_budget(session, request, now_us())
    location = f"/v1/uncertainty-budgets/{quote(made['id'], safe='')}"
    return made, 201 if created else 200, {"Location": location}


@blp.route("/<path:budget_id>")
@requires("read")
@blp.response(200, StoredBudgetSchema)
def show_budget(budget_id: str) -> Any:
    """Show a stored budget with its request; `below_cmc` is by the capabilities of now."""
    with reading() as session:
        return uncertainty_budgets.get_budget(session, budget_id)
