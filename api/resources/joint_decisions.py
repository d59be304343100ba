"""Joint decisions: whether several results conform together, and with which risk."""

from __future__ import annotations

from contextlib import nullcontext
from typing import Any

from api.schemas.joint_decisions import JointDecisionSchema, NewJointDecisionSchema
from api.services.decisions import joint_decisions
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.transactions import reading

blp = Blueprint(
    "joint_decisions",
    __name__,
    url_prefix="/v1/joint-decisions",
    description="Do several results conform together?",
)


@blp.route("", methods=["POST"])
@requires("decide")
@blp.arguments(NewJointDecisionSchema)
@blp.response(200, JointDecisionSchema)
def decide_together(sent: dict[str, Any]) -> Any:
    """Decide the results of one certificate, with the risk that at least one does not conform.

    Each is decided by itself; together they have the worst verdict. Results are independent, unless
    a correlation of any two, or the part of each U that is common to all, is stated. Nothing is
    stored.
    """
    requests = joint_decisions.requests_of(sent)
    needed = joint_decisions.any_needs_records(requests)
    with reading() if needed else nullcontext() as session:
        return joint_decisions.decide_together(session, sent, requests)
