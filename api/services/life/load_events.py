"""Recording and reading load events; they are evidence and stay as they were recorded."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import NotFound
from api.services.base.record import Record, digest
from api.services.base.recording import Recording, remarks, zone_of
from api.store.fitting import LoadEvent
from api.store.graph_lock import lock_graph
from api.store.paging import KeyValues, page
from api.store.reading import SessionReader
from api.store.records import item_codes
from api.store.tables import Item
from api.store.versions import note_row

COLUMNS = ("at", "kind", "force", "unit", "applications", "person", "note")
# After these the item is to be inspected; other use only adds applications.
NO_INSPECTION_AFTER = ("use",)


def record(session: Session, event: Record, now_us: int) -> bool:
    """Record a load event; return whether it is new.

    Raises UnknownReference for an item nobody recorded, Conflict for other content under the id.
    """
    lock_graph(session)
    recording = Recording(session, now_us, zone_of(session), single="load_events")
    recording.know_items({event["item"]})
    item = recording.item(event["item"], "/item")
    stored = session.scalar(select(LoadEvent).where(LoadEvent.code == event["id"]))
    if stored is not None and stored.content_hash != digest(event):
        recording.conflict(
            "/id",
            f'load event "{event["id"]}" is recorded with other content',
            "an event is evidence and stays; record another one",
            event["id"],
        )
    recording.check()
    if stored is not None or item is None:
        return False
    at = recording.moment(event["at"])
    row = LoadEvent(
        code=event["id"],
        item_id=item.key,
        at_us=at.start_us,
        at_end_us=at.end_us,
        **{name: event.get(name) for name in COLUMNS},
        remarks=remarks(event),
        content_hash=digest(event),
        recorded_us=now_us,
    )
    session.add(row)
    session.flush()
    note_row(session, row, event["person"])
    return True


def get(session: Session, code: str) -> Record:
    """Return the load event of this id."""
    event = session.scalar(select(LoadEvent).where(LoadEvent.code == code))
    if event is None:
        raise NotFound(f'load event "{code}" is not recorded')
    return answers(session, [event])[0]


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of load events, in the order they were recorded."""
    statement = select(LoadEvent)
    if "item" in filters:
        key = select(Item.id).where(Item.code == filters["item"]).scalar_subquery()
        statement = statement.where(LoadEvent.item_id == key)
    if "kind" in filters:
        statement = statement.where(LoadEvent.kind == filters["kind"])
    rows, key_behind = page(session, statement, [LoadEvent.id], after, limit)
    return answers(session, [row[0] for row in rows]), key_behind


def answers(session: Session, events: Sequence[LoadEvent]) -> list[Record]:
    """Return load events as the API shows them."""
    codes = item_codes(SessionReader(session), {one.item_id for one in events})
    shown = []
    for one in events:
        values = {"id": one.code, "item": codes[one.item_id]}
        values |= {name: getattr(one, name) for name in COLUMNS}
        values |= one.remarks or {}
        shown.append({name: value for name, value in values.items() if value is not None})
    return shown
