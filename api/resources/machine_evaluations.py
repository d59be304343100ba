"""Verifications of testing machines: errors, spread, zero and class of a range."""

from __future__ import annotations

from typing import Any

from api.schemas.machine_evaluations import MachineEvaluationSchema, NewMachineEvaluationSchema
from api.services.uncertainty import machine_evaluations
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.transactions import reading

blp = Blueprint(
    "machine_evaluations",
    __name__,
    url_prefix="/v1/machine-evaluations",
    description="What do verification runs say of a testing machine?",
)


@blp.route("", methods=["POST"])
@requires("decide")
@blp.arguments(NewMachineEvaluationSchema)
@blp.response(200, MachineEvaluationSchema)
def evaluate_machine(request: dict[str, Any]) -> Any:
    """Evaluate the verification of one range of a testing machine; nothing is stored.

    Figures q, b, v, f0 and a of ISO 7500-1 and the largest error of ASTM E4; classes by tables such
    as `iso_7500_1_2018` (cases `increasing` and `both_directions`) and `astm_e4`, whose limits are
    from memory: verify them before a class is stated.
    """
    with reading() as session:
        return machine_evaluations.evaluate(session, request)
