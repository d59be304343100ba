"""Deadweight forces: what a stack of masses makes at a place, with uncertainty."""

from __future__ import annotations

from typing import Any

from api.schemas.deadweight_forces import DeadweightForceSchema, DeadweightRequestSchema
from api.services.uncertainty import deadweight_forces
from api.web.auth import requires
from api.web.blueprints import Blueprint

blp = Blueprint(
    "deadweight-forces",
    __name__,
    url_prefix="/v1/deadweight-forces",
    description=__doc__,
)


@blp.route("", methods=["POST"])
@requires("decide")
@blp.arguments(DeadweightRequestSchema)
@blp.response(200, DeadweightForceSchema)
def weigh(request: dict[str, Any]) -> Any:
    """Work out the force of a stack of masses from gravity and air; nothing is stored."""
    return deadweight_forces.weigh(request)
