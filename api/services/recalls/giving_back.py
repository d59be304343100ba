"""What earlier looks at a fault took from corrected revisions, for a second look to give back.

A revision was corrected for a fault whose window is now thought to be shorter, or that was none:
the second look (`previous`) finds it wrong by what was taken (`graph.corrected.owed`). Another
recall, which does not say that it looks at the same fault again, says nothing of it.
"""

from __future__ import annotations

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, aliased

from api.services.recalls.reach import NONE, Looks
from api.store.tables import Certificate, Recall, RecallEntry
from graph.recall import AFFECTED

Revised = aliased(Certificate)


def looks_at(session: Session, previous: int | None) -> Looks:
    """Return the looks that a second look follows; none without `previous`."""
    keys, numbers = list[int](), list[str]()
    while previous is not None and previous not in keys:
        look = session.get(Recall, previous)
        if look is None:  # refused when it is stored
            return NONE
        keys.append(look.id)
        numbers.append(look.number)
        previous = look.previous_id
    if not keys:
        return NONE
    return Looks(frozenset(numbers), frozenset(session.scalars(_corrected(keys))))


def looks_of(session: Session, recall: Recall) -> Looks:
    """Return the looks that a stored second look follows, itself among them."""
    return NONE if recall.previous_id is None else looks_at(session, recall.id)


def listed_before(session: Session, previous: int | None) -> set[int]:
    """Return the certificates that earlier looks list as affected, for a second look to watch."""
    found, looked = set[int](), set[int]()
    while previous is not None and previous not in looked:
        looked.add(previous)
        listed = select(RecallEntry.certificate_id).where(
            RecallEntry.recall_id == previous, RecallEntry.list_name == AFFECTED
        )
        found.update(session.scalars(listed))
        previous = session.scalar(select(Recall.previous_id).where(Recall.id == previous))
    return found


def _corrected(recalls: list[int]) -> Select[int]:
    return (
        select(Revised.id)
        .join(
            Certificate,
            (Certificate.number == Revised.number) & (Certificate.issuer == Revised.issuer),
        )
        .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
        .where(
            RecallEntry.recall_id.in_(recalls),
            RecallEntry.list_name == AFFECTED,
            Revised.fault_corrections.is_not(None),
        )
        .distinct()
    )
