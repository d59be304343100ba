"""What earlier looks at a fault took from corrected revisions, for a second look to give back.

A revision was corrected for a fault whose window is now thought to be shorter, or that was none:
the second look (`previous`) finds it wrong by what was taken (`graph.corrected.owed`). Another
recall, which does not say that it looks at the same fault again, says nothing of it.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, aliased

from api.services.recalls.reach import NONE, Looks
from api.store.tables import Certificate, Recall, RecallEntry
from graph.recall import AFFECTED

Revised = aliased(Certificate)


def looks_back(session: Session, recall: Recall) -> Iterator[Recall]:
    """Yield a recall and the looks at its fault before it, each named by the one after."""
    yield recall
    while recall.previous_id is not None:
        recall = session.get_one(Recall, recall.previous_id)
        yield recall


def looks_at(session: Session, previous: int | None, last: int | None = None) -> Looks:
    """Return the looks at the fault of a recall that came before a second look; none without one.

    They are all that follow the first of them, in whatever order one named another, up to recall
    `last`, if it is given: what one of them gave back another must know of.
    """
    looks = {} if previous is None else _all_looks(session, previous, last)
    if not looks:
        return NONE
    return Looks(frozenset(looks.values()), frozenset(session.scalars(_corrected([*looks]))))


def looks_of(session: Session, recall: Recall) -> Looks:
    """Return the looks before a stored second look, itself among them."""
    return NONE if recall.previous_id is None else looks_at(session, recall.id, recall.id)


def listed_before(session: Session, previous: int | None) -> set[int]:
    """Return the certificates that looks at a fault list as affected, for another to watch."""
    looks = {} if previous is None else _all_looks(session, previous, None)
    listed = select(RecallEntry.certificate_id).where(
        RecallEntry.recall_id.in_([*looks]), RecallEntry.list_name == AFFECTED
    )
    return set(session.scalars(listed)) if looks else set()


def _all_looks(session: Session, one: int, last: int | None) -> dict[int, str]:
    """Return the numbers of a recall and of all looks at the same fault, by key."""
    recall = session.get(Recall, one)
    if recall is None:  # refused when it is stored
        return {}
    *_, first = looks_back(session, recall)
    found, frontier = {first.id: first.number}, [first.id]
    while frontier:
        later = select(Recall.id, Recall.number).where(Recall.previous_id.in_(frontier))
        if last is not None:
            later = later.where(Recall.id <= last)
        rows = session.execute(later).all()
        frontier = [row.id for row in rows]
        found |= {row.id: row.number for row in rows}
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
