"""Corrected revisions: what a recalled certificate said less what was wrong, as drafts to issue."""

from __future__ import annotations

from typing import Any

from api.resources.certificates import headers_of
from api.schemas.certificates import CertificateAnswerSchema
from api.schemas.corrected_revisions import (
    CorrectedRevisionQuerySchema,
    CorrectedRevisionSchema,
    CorrectedRevisionsMadeSchema,
    CorrectedRevisionsSchema,
)
from api.services.casework import cases
from api.services.certificates import certificates, corrected_revisions
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import writing

blp = Blueprint("corrected_revisions", __name__, url_prefix="/v1/recalls", description=__doc__)


@blp.route("/<int:recall_id>/revisions", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(CorrectedRevisionsSchema)
@blp.response(201, CorrectedRevisionsMadeSchema)
def draft_revisions(sent: dict[str, Any], recall_id: int) -> Any:
    """Draft the next revision of many certificates, all or none.

    Without names: of every affected certificate whose disposition is reissue and that has no later
    revision yet. Numbers, uses and verdicts as in the draft of one.
    """
    with writing() as session:
        cases.locked(session, recall_id)
        names = sent.get("certificates")
        if names is None:
            names = corrected_revisions.to_reissue(session, recall_id)
        made = corrected_revisions.draft(session, recall_id, names, sent, now_us())
        shown = [certificates.answer(session, one) for one in made]
    return {"items": shown}, 201, {"Location": f"/v1/recalls/{recall_id}/dispositions"}


@blp.route("/<int:recall_id>/revisions/<path:certificate>", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(CorrectedRevisionSchema)
@blp.arguments(CorrectedRevisionQuerySchema, location="query")
@blp.response(201, CertificateAnswerSchema)
def draft_revision(
    sent: dict[str, Any], query: dict[str, Any], recall_id: int, certificate: str
) -> Any:
    """Draft the next revision of an affected certificate, corrected as the recall says.

    Errors are the corrected ones and U the one after, both unrounded; verdicts are decided again by
    the same rule, version and limits; uses are kept. `fault_corrections` records what was taken.
    """
    with writing() as session:
        cases.locked(session, recall_id)
        name = {"certificate": certificate} | query
        (made,) = corrected_revisions.draft(session, recall_id, [name], sent, now_us())
        shown = certificates.answer(session, made)
    return shown, 201, headers_of(shown)
