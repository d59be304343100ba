"""Ready components: which contributions a force calibration has, and how each is evaluated."""

from __future__ import annotations

from typing import Any

from api.schemas.budget_answers import ReadyComponentsSchema
from api.services.uncertainty.uncertainty_budgets import ready_components
from api.web.auth import requires
from api.web.blueprints import Blueprint

blp = Blueprint(
    "uncertainty_components",
    __name__,
    url_prefix="/v1/uncertainty-components",
    description=__doc__,
)


@blp.route("")
@requires("read")
@blp.response(200, ReadyComponentsSchema)
def list_components() -> Any:
    """List ready components with their distribution, divisor, formula and source."""
    return ready_components()
