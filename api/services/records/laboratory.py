"""The laboratory itself: what stands on its notices, and what it asks of its certificates."""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.store.graph_lock import lock_graph
from api.store.journal import note as journal_note
from api.store.tables import Laboratory

COLUMNS = ("name", "address", "contact")


def answer(session: Session) -> Record:
    """Return what is recorded of the laboratory; null where nothing is."""
    found = session.get(Laboratory, 1)
    shown = {name: getattr(found, name, None) for name in COLUMNS}
    asked = getattr(found, "asked_at_issue", None) or []
    return shown | {"asked_at_issue": asked, "time_zone": zone_of(session).key}


def locked(session: Session) -> Record:
    """Return the laboratory for a change; others wait until the transaction ends."""
    lock_graph(session)
    return answer(session)


def change(session: Session, changes: Record) -> Record:
    """Change how it is named and reached, and what it asks for; a zone comes with an import."""
    found = session.get(Laboratory, 1)
    if found is None:
        found = Laboratory(id=1, time_zone=zone_of(session).key)
        session.add(found)
    for name in COLUMNS:
        if name in changes:
            setattr(found, name, changes[name])
    if "asked_at_issue" in changes:
        found.asked_at_issue = sorted(set(changes["asked_at_issue"]))
    journal_note(session, "laboratory changed", changed=sorted(changes))
    session.flush()
    return answer(session)
