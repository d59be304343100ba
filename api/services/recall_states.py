"""May a certificate be relied on? One word for each, from the recalls that list it.

A recall counts until another look at the same fault takes its place (`previous`). Listed as
affected means recalled at once, before anybody decided, and what cannot be judged is under review;
then the latest disposition decides: no_action frees the certificate, any other one recalls it.
Exposed without effect is "none" unless somebody decided otherwise.
"""

from __future__ import annotations

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session, aliased

from api.store.casework import Disposition
from api.store.tables import Recall, RecallEntry
from graph.recall import AFFECTED, EXPOSED, INDETERMINATE

RECALLED, UNDER_REVIEW, NONE = "recalled", "under_review", "none"
UNDECIDED = {AFFECTED: RECALLED, INDETERMINATE: UNDER_REVIEW, EXPOSED: NONE}
Later = aliased(Recall)


def recall_state(session: Session, certificate: int) -> str:
    """Return the gravest of what the recalls that list a certificate say about it."""
    latest = (
        select(func.max(Disposition.id))
        .where(
            Disposition.recall_id == RecallEntry.recall_id,
            Disposition.certificate_id == RecallEntry.certificate_id,
        )
        .correlate(RecallEntry)
        .scalar_subquery()
    )
    rows = session.execute(
        select(RecallEntry.list_name, Disposition.action)
        .outerjoin(Disposition, Disposition.id == latest)
        .where(
            RecallEntry.certificate_id == certificate,
            RecallEntry.list_name.in_(UNDECIDED),
            ~exists().where(Later.previous_id == RecallEntry.recall_id),
        )
    )
    states = {_state(list_name, action) for list_name, action in rows}
    return next((state for state in (RECALLED, UNDER_REVIEW) if state in states), NONE)


def _state(list_name: str, action: str | None) -> str:
    if action is None:
        return UNDECIDED[list_name]
    return NONE if action == "no_action" else RECALLED
