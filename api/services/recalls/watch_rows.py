"""The rows that stand beside a stored recall: what it watches, and where a fresh one differs."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.recalls.differences import Seen
from api.store.chunks import chunks
from api.store.links import Window
from api.store.record_touch import Watched
from api.store.record_watch import (
    RecallDifference,
    RecallWatchItem,
    RecallWatchWindow,
    RecallWatchWord,
)
from api.store.tables import Base

Elsewhere = dict[int, Seen | None]


def watch_of(session: Session, recall_id: int) -> Watched:
    """Return what a stored recall watches."""
    items = select(RecallWatchItem.item_id).where(RecallWatchItem.recall_id == recall_id)
    windows = select(RecallWatchWindow).where(RecallWatchWindow.recall_id == recall_id)
    words = select(RecallWatchWord).where(RecallWatchWord.recall_id == recall_id)
    return Watched(
        frozenset(session.scalars(items)),
        frozenset(
            Window(one.first_us, one.last_us, tuple(one.roles)) for one in session.scalars(windows)
        ),
        frozenset((one.kind, one.word) for one in session.scalars(words)),
    )


def watch(session: Session, recall_id: int, seen: Watched) -> None:
    """Let the rows by which writes find a recall be those of what it depends on now."""
    mine = RecallWatchItem.recall_id == recall_id
    kept = set(session.scalars(select(RecallWatchItem.item_id).where(mine)))
    for some in chunks(sorted(kept - seen.items)):
        session.execute(
            delete(RecallWatchItem)
            .where(mine, RecallWatchItem.item_id.in_(some))
            .execution_options(synchronize_session=False)
        )
    new: Mapping[type[Base], list[Record]] = {
        RecallWatchItem: [{"item_id": key} for key in sorted(seen.items - kept)],
        RecallWatchWindow: [one._asdict() for one in sorted(seen.windows, key=str)],
        RecallWatchWord: [{"kind": kind, "word": word} for kind, word in sorted(seen.words)],
    }
    for table in (RecallWatchWindow, RecallWatchWord):
        session.execute(
            delete(table)
            .where(table.recall_id == recall_id)
            .execution_options(synchronize_session=False)
        )
    for made, rows in new.items():
        for lot in chunks(rows):
            made_rows = [one | {"recall_id": recall_id} for one in lot]
            session.execute(insert(made.__table__), made_rows)  # type: ignore[arg-type]


def elsewhere_of(session: Session, recall_id: int) -> Elsewhere:
    """Return, by certificate, what a fresh recall said where it said something else."""
    columns = (
        RecallDifference.certificate_id,
        RecallDifference.list_name,
        RecallDifference.body_hash,
    )
    rows = session.execute(select(*columns).where(RecallDifference.recall_id == recall_id))
    return {key: None if name is None else Seen(name, hash_ or "") for key, name, hash_ in rows}


def keep_elsewhere(session: Session, recall_id: int, elsewhere: Elsewhere) -> bool:
    """Keep where a fresh recall says something else; return whether that is new."""
    mine, kept = RecallDifference.recall_id == recall_id, elsewhere_of(session, recall_id)
    if kept == elsewhere:
        return False
    other = {key for key, seen in kept.items() if elsewhere.get(key, seen) != seen}
    gone = other | (kept.keys() - elsewhere.keys())
    for some in chunks(sorted(gone)):
        session.execute(
            delete(RecallDifference)
            .where(mine, RecallDifference.certificate_id.in_(some))
            .execution_options(synchronize_session=False)
        )
    new = [
        {"recall_id": recall_id, "certificate_id": key}
        | {name: None if seen is None else getattr(seen, name) for name in Seen._fields}
        for key, seen in elsewhere.items()
        if key not in kept or key in other
    ]
    for lot in chunks(new):
        session.execute(insert(RecallDifference), lot)
    return True
