"""Recalled, under review or neither? One word for each certificate, from the recalls that list it.

Listed as affected means recalled at once, before anybody decided, and what cannot be judged is
under review; then the latest disposition decides: no_action frees the certificate, any other one
recalls it. Exposed without effect is "none" unless somebody decided otherwise.

Another look at the same fault (`previous`) takes the place of a recall for the certificates that it
lists too. One that it lists no longer, or as exposed without effect, is under review until a
disposition says what becomes of it: its holder may have been told, and a second look with too short
a window, or too small an effect, must free nothing unseen.

What a fresh recall recalls, or judges otherwise, is under review until a look that is stored says
so too; and so is, as long as nobody knows, whatever a recall may newly reach
(``api.services.recalls.provisional``).
"""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from api.services.base.record import Record
from api.services.recalls.provisional import newly_reached
from api.store.casework import Disposition
from api.store.chunks import chunks
from api.store.record_watch import RecallDifference
from api.store.tables import Recall, RecallEntry
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED

RECALLED, UNDER_REVIEW, NONE = "recalled", "under_review", "none"
GRAVITY = (NONE, UNDER_REVIEW, RECALLED)
UNDECIDED = {
    AFFECTED: RECALLED,
    INDETERMINATE: UNDER_REVIEW,
    NOT_EXCLUDED: UNDER_REVIEW,
    EXPOSED: NONE,
}
Later = aliased(Recall)
Again = aliased(RecallEntry)
Disposed = aliased(Disposition)


def recall_states(session: Session, certificates: Collection[int]) -> dict[int, str]:
    """Return for each certificate the gravest of what the recalls that list it say about it."""
    latest = (
        select(func.max(Disposition.id))
        .where(
            Disposition.recall_id == RecallEntry.recall_id,
            Disposition.certificate_id == RecallEntry.certificate_id,
        )
        .correlate(RecallEntry)
        .scalar_subquery()
    )
    looked_again = exists().where(Later.previous_id == RecallEntry.recall_id)
    decided_again = exists().where(
        Disposed.recall_id == Again.recall_id,
        Disposed.certificate_id == Again.certificate_id,
    )
    listed_again = exists().where(
        Later.previous_id == RecallEntry.recall_id,
        Again.recall_id == Later.id,
        Again.certificate_id == RecallEntry.certificate_id,
        or_(
            Again.list_name.in_((AFFECTED, INDETERMINATE, NOT_EXCLUDED)),
            (Again.list_name == EXPOSED) & decided_again,
        ),
    )
    statement = (
        select(RecallEntry.certificate_id, RecallEntry.list_name, Disposition.action, looked_again)
        .outerjoin(Disposition, Disposition.id == latest)
        .where(RecallEntry.list_name.in_(UNDECIDED), ~listed_again)
    )
    found = dict.fromkeys(certificates, NONE)
    for some in chunks(sorted(found)):
        rows = session.execute(statement.where(RecallEntry.certificate_id.in_(some)))
        for key, list_name, action, again in rows:
            found[key] = max(found[key], _state(list_name, action, again), key=GRAVITY.index)
    doubtful = {*_judged_otherwise(session, found.keys()), *newly_reached(session, found.keys())}
    return {
        key: UNDER_REVIEW if state == NONE and key in doubtful else state
        for key, state in found.items()
    }


def reviewed_by(session: Session, certificate: int) -> list[Record]:
    """Return the recalls for which a certificate that none of them lists is under review, and why.

    `class` is the list in which a fresh recall has it, null while that is being worked out.
    """
    classes: dict[int, str | None] = dict.fromkeys(
        newly_reached(session, [certificate]).get(certificate, ())
    )
    classes |= _judged_otherwise(session, [certificate]).get(certificate, {})
    numbers = dict(
        session.execute(select(Recall.id, Recall.number).where(Recall.id.in_(classes))).all()
    )
    return [{"id": key, "number": numbers[key], "class": classes[key]} for key in sorted(classes)]


def _judged_otherwise(
    session: Session, certificates: Collection[int]
) -> dict[int, dict[int, str | None]]:
    """Return those that a fresh recall recalls otherwise than any stored look: recall and list."""
    listed_again = exists().where(
        Later.previous_id == RecallDifference.recall_id,
        Again.recall_id == Later.id,
        Again.certificate_id == RecallDifference.certificate_id,
        Again.list_name.in_(UNDECIDED),
    )
    names = RecallDifference.certificate_id, RecallDifference.recall_id, RecallDifference.list_name
    statement = select(*names).where(
        RecallDifference.list_name.in_((AFFECTED, INDETERMINATE, NOT_EXCLUDED)), ~listed_again
    )
    found: dict[int, dict[int, str | None]] = {}
    for some in chunks(sorted(certificates)):
        for key, recall, name in session.execute(
            statement.where(RecallDifference.certificate_id.in_(some))
        ):
            found.setdefault(key, {})[recall] = name
    return found


def _state(list_name: str, action: str | None, looked_again: bool) -> str:
    if action is not None:
        return NONE if action == "no_action" else RECALLED
    state = UNDECIDED[list_name]
    return UNDER_REVIEW if looked_again and state == RECALLED else state
