"""Corrective action in the case of a recall: the cause, what is done, and whether it helped."""

from __future__ import annotations

from typing import Any

from api.resources.cases import case_etag, headers_of
from api.schemas.cases import CaseSchema, CorrectiveStepSchema
from api.services.casework import cases, corrective_steps
from api.services.recalls.staleness import standing
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import check_if_match, needs_if_match
from api.web.idempotency import idempotent
from api.web.transactions import writing

blp = Blueprint("corrective_steps", __name__, url_prefix="/v1/recalls", description=__doc__)


@blp.route("/<int:recall_id>/corrective-steps", methods=["POST"])
@requires("recall")
@idempotent
@needs_if_match
@blp.arguments(CorrectiveStepSchema)
@blp.response(201, CaseSchema)
def record_step(step: dict[str, Any], recall_id: int) -> Any:
    """Record cause, corrective action or review; each may be taken again, also when closed."""
    with writing() as session:
        case = cases.locked(session, recall_id)
        check_if_match(case_etag(recall_id, case.version))
        corrective_steps.record(session, case, step, now_us())
        shown = cases.answer(session, case) | standing(session, recall_id)
    return shown, 201, headers_of(shown) | {"Location": f"/v1/recalls/{recall_id}/case"}
