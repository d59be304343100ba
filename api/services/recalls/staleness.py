"""Which open recalls a late record would change.

A calibration recorded or voided after the fact may change what was in force for later uses, and so
what a recall would find today. The stored recall never changes: it is flagged, in the transaction
of the late record, with the differences that a second look would show. Only open recalls that the
touched certificates could concern are worked out again.
"""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import exists, select
from sqlalchemy.orm import Session, aliased

from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.recalls.differences import (
    any_difference,
    differences,
    found_entries,
    stored_entries,
)
from api.services.recalls.faults import report
from api.services.recalls.run import recall
from api.store import links
from api.store.casework import RecallCase
from api.store.keyed import rows_of
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import Certificate, Recall, RecallStale
from graph.moments import text_of

CLOSED = "closed"
Later = aliased(Recall)


def flag_stale_after(session: Session, first: int, now_us: int, cause: str) -> None:
    """Flag the open recalls that certificates recorded from this key on would change."""
    if _open(session):
        flag_stale(session, _touched(session, first), now_us, cause)


def _touched(session: Session, first: int) -> set[int]:
    """Certificates recorded from this key on, and those whose values in force they may change."""
    items = set(session.scalars(select(Certificate.item_id).where(Certificate.id >= first)))
    new = set(session.scalars(select(Certificate.id).where(Certificate.id >= first)))
    return new | links.users_of_items(SessionReader(session), items)


def flag_stale(session: Session, touched: Collection[int], now_us: int, cause: str) -> None:
    """Flag the open recalls that would now find something else."""
    open_recalls = _open(session)
    if not open_recalls:
        return
    session.flush()
    reader, concerned = SessionReader(session), set(touched)
    for column in ("source_id", "evidence_id"):
        rows = rows_of(reader, f"usage.{column}", "usage", "certificate_id", concerned)
        concerned |= {key for (key,) in rows if key is not None}
    for stored in open_recalls:
        before = stored_entries(session, stored.id)
        if concerned.isdisjoint(before) and not _meets(session, stored, concerned):
            continue
        answer = recall(session, {"faults": stored.faults}, now_us)
        found = differences(before, found_entries(answer))
        if any_difference(found):
            session.add(
                RecallStale(
                    recall_id=stored.id,
                    at_us=now_us,
                    cause=cause,
                    result_hash=answer.result_hash,
                    differences=found,
                )
            )


def staleness(session: Session, recall_id: int) -> Record | None:
    """Return the latest flag of a stored recall, or None."""
    flag = session.scalars(
        select(RecallStale)
        .where(RecallStale.recall_id == recall_id)
        .order_by(RecallStale.id.desc())
        .limit(1)
    ).first()
    if flag is None:
        return None
    return {"at": text_of(flag.at_us), "cause": flag.cause, "differences": flag.differences}


def _open(session: Session) -> list[Recall]:
    """Recalls whose case is not closed and of which there is no second look yet."""
    closed = exists().where(RecallCase.recall_id == Recall.id, RecallCase.state == CLOSED)
    again = exists().where(Later.previous_id == Recall.id)
    return list(session.scalars(select(Recall).where(~closed, ~again).order_by(Recall.id)))


def _meets(session: Session, stored: Recall, concerned: set[int]) -> bool:
    """Whether one of the certificates met a fault of the recall directly."""
    zone = zone_of(session)
    source = Recorded(SessionReader(session))
    return any(
        not report(source, fault, zone, "").direct.isdisjoint(concerned) for fault in stored.faults
    )
