"""The case of a recall: from open to closed, who may let work resume, and similar items.

A case becomes notified once every customer concerned was sent its notice, or a named reason stands
why not; it is closed once that still holds, the recall is not stale (or another look at the fault
has taken its place), and every certificate that is affected, indeterminate or cannot be excluded
has a disposition. What was decided and is not done yet, a corrected revision or a void, stands
under `outstanding` and holds no step back. Cause, corrective action and the review of its
effectiveness are steps beside it.

While a recall isolates an item, a new use of it is refused unless a named person overrides it; the
isolation ends with the resumption, not with the case.
"""

from __future__ import annotations

from typing import Any

from api.schemas.cases import CaseChangeSchema, CaseSchema, SimilarItemsSchema, StepSchema
from api.services.casework import cases, similar_items
from api.services.recalls import recalls
from api.services.recalls.staleness import standing
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import check_if_match, etag_of, needs_if_match
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("cases", __name__, url_prefix="/v1/recalls", description=__doc__)
CAUTION = (
    "Suggestions from what is recorded: look at these items. Keep them out of service where the "
    "fault could injure, and leave the judgement to a competent, authorised person."
)


@blp.route("/<int:recall_id>/case")
@requires("read")
@blp.response(200, CaseSchema)
def show_case(recall_id: int) -> Any:
    """Show where the handling of a recall stands."""
    with reading() as session:
        shown = cases.answer(session, cases.get(session, recall_id)) | standing(session, recall_id)
    return shown, 200, headers_of(shown)


@blp.route("/<int:recall_id>/case", methods=["PATCH"])
@requires("recall")
@needs_if_match
@blp.arguments(CaseChangeSchema)
@blp.response(200, CaseSchema)
def change_case(change: dict[str, Any], recall_id: int) -> Any:
    """Take the next step: open, assessed, notified, closed.

    What stands against it (409) is named: customers not told, a stale list, open certificates.
    """
    with writing() as session:
        case = cases.locked(session, recall_id)
        check_if_match(case_etag(recall_id, case.version))
        holds = standing(session, recall_id)
        cases.advance(session, case, change, holds, now_us())
        shown = cases.answer(session, case) | standing(session, recall_id)
    return shown, 200, headers_of(shown)


@blp.route("/<int:recall_id>/resumption", methods=["POST"])
@requires("recall")
@idempotent
@needs_if_match
@blp.arguments(StepSchema)
@blp.response(200, CaseSchema)
def resume_work(change: dict[str, Any], recall_id: int) -> Any:
    """Let work with the item resume, by the word of somebody who did not assess the case."""
    with writing() as session:
        case = cases.locked(session, recall_id)
        check_if_match(case_etag(recall_id, case.version))
        shown = cases.answer(session, cases.resume(session, case, change, now_us()))
        shown |= standing(session, recall_id)
    return shown, 200, headers_of(shown)


@blp.route("/<int:recall_id>/similar")
@requires("read")
@blp.response(200, SimilarItemsSchema)
def suggest_similar(recall_id: int) -> Any:
    """Suggest items that could have the same thing wrong, with the reasons."""
    with reading() as session:
        found = similar_items.suggest(session, recalls.get(session, recall_id))
    return {"items": found, "caution": CAUTION}


def case_etag(recall_id: int, version: int) -> str:
    """ETag of a case; it changes with everything that is done in it."""
    return etag_of(f"case {recall_id}", version)


def headers_of(shown: dict[str, Any]) -> dict[str, str]:
    """ETag of a case as it is shown; notices come to it without a new version of the case."""
    return {"ETag": case_etag(shown["recall"], shown["version"]), "Cache-Control": "no-store"}
