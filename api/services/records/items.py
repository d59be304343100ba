"""Recording and reading items."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any
from urllib.parse import quote

from sqlalchemy import insert, select
from sqlalchemy.orm import Session, aliased

from api.errors import NotFound
from api.rules.units import UnknownUnit, parse_quantity, to_newton
from api.services.base.record import Record, digest
from api.services.base.recording import (
    FACTS,
    Collection,
    ItemFacts,
    Outcome,
    Recording,
    remarks,
    repeated,
)
from api.services.records import record_corrections
from api.services.records.record_corrections import IDENTITY
from api.store.chunks import chunks
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.record_changes import touched
from api.store.tables import Certificate, Item

COLUMNS = (
    "type",
    "capacity",
    "make",
    "model",
    "channels",
    "cycles_at_last_inspection",
    "design_life_cycles",
    "owner",
    "in_service_from",
    "note",
)
# What a recall reads of an item.
DECIDING = ("type", "channels")
_LONGEST = 60
Revision = aliased(Certificate)


def record(recording: Recording, records: Sequence[Record]) -> Outcome:
    """Record items that are new; the others must be the same again."""
    repeated(recording, "items", [r["id"] for r in records], [r["id"] for r in records])
    stored = _stored(recording.session, [r["id"] for r in records])
    rows: list[dict[str, Any]] = []
    for index, item in enumerate(records):
        known = stored.get(item["id"])
        if known is None:
            rows.append(_row(item, recording))
        elif known.content_hash != digest(item):
            recording.conflict(
                recording.place("items", index),
                f'item "{item["id"]}" is recorded with other content',
                "change it with PATCH /v1/items/{id}, or send what was recorded",
                item["id"],
            )
    recording.items.update(
        (row.code, ItemFacts(*(getattr(row, name) for name in FACTS))) for row in stored.values()
    )
    if recording.issues or recording.conflicts:
        return Outcome()
    if rows:
        columns = (getattr(Item, name) for name in FACTS)
        statement = insert(Item).returning(*columns, sort_by_parameter_order=True)
        created = recording.session.execute(statement, rows)
        recording.items.update((row.code, ItemFacts(*row)) for row in created)
    return Outcome(len(rows), len(records) - len(rows))


COLLECTION = Collection("items", record)
# The kind of what a customer brings to be calibrated.
CUSTOMERS_OWN = "customer_instrument"


def get(session: Session, code: str) -> Item:
    """Return the item of this id."""
    item = session.scalar(select(Item).where(Item.code == code))
    if item is None:
        raise NotFound(f'item "{code}" is not recorded')
    return item


def change(recording: Recording, item: Item, changes: Record) -> Item:
    """Apply changes to what is known of an item; its records so far stay as they are."""
    for name in COLUMNS:
        if name in changes:
            setattr(item, name, changes[name])
    if "in_service_from" in changes:
        item.in_service_us = recording.moment(changes["in_service_from"]).start_us
    if "properties" in changes:
        item.properties = {**(item.properties or {}), **changes["properties"]}
    if said := remarks(changes):
        item.remarks = {**(item.remarks or {}), **said}
    journal_note(recording.session, "item changed", id=item.code, changed=sorted(changes))
    read = [item.id] if any(name in changes for name in DECIDING) else []
    touched(recording.session, f"item {item.code} was changed", recording.now_us, items=read)
    return item


def answer(item: Item) -> Record:
    """Return the item as the API shows it."""
    shown: Record = {"id": item.code, "kind": item.kind}
    shown.update((name, getattr(item, name)) for name in COLUMNS)
    shown["properties"] = item.properties
    shown |= item.remarks or {}
    return {name: value for name, value in shown.items() if value is not None} | {
        "version": item.version
    }


def shown(session: Session, item: Item) -> Record:
    """Return the item with what its own record does not say.

    `identity_swaps` are those in which it was taken for another item, `shared_certificates` the
    certificates of it of which another revision names another item.
    """
    address = f"/v1/items/{quote(item.code, safe='')}/identity-swaps"
    swaps = record_corrections.latest(
        session, IDENTITY, [item.id], "identity_swaps", lambda _: address
    )
    shared = _shared(session, item)
    extras = {"shared_certificates": shared} if shared else {}
    return answer(item) | swaps.get(item.id, {}) | extras


def _shared(session: Session, item: Item) -> list[Record]:
    statement = (
        select(
            Certificate.number,
            Certificate.issuer,
            Certificate.revision,
            Revision.revision.label("other_revision"),
            Item.code.label("other_item"),
        )
        .join(
            Revision,
            (Revision.number == Certificate.number)
            & (Revision.issuer == Certificate.issuer)
            & (Revision.item_id != Certificate.item_id),
        )
        .join(Item, Item.id == Revision.item_id)
        .where(Certificate.item_id == item.id)
        .order_by(Certificate.id, Revision.id)
    )
    return [
        {
            "certificate": row.number,
            **({"issuer": row.issuer} if row.issuer else {}),
            "revision": row.revision,
            "other_revision": row.other_revision,
            "other_item": row.other_item,
        }
        for row in session.execute(statement)
    ]


def make_and_model(item: Item) -> tuple[str | None, str | None]:
    """Return who made an item and its model: the fields, else the properties that say so."""
    stated = item.properties or {}
    makes = (item.make, stated.get("make"), stated.get("manufacturer"), stated.get("maker"))
    models = (item.model, stated.get("model"))
    make, model = (
        next((one for one in some if isinstance(one, str)), None) for some in (makes, models)
    )
    return make, model


def rated_capacity(item: Item) -> str | None:
    """Return the rated capacity of an item: its property of that name, else its capacity."""
    stated = (item.properties or {}).get("rated_capacity")
    return stated if isinstance(stated, str) else item.capacity


def newtons(capacity: str | None) -> Fraction | None:
    """Return a capacity in newton, exactly; None where it is missing, unreadable or no capacity."""
    if capacity is None or len(capacity) > _LONGEST:
        return None
    try:
        force, unit = parse_quantity(capacity)
    except (UnknownUnit, ValueError):
        return None
    # The text is free; a handful of characters must not become a thousand digits.
    return to_newton(force, unit) if force > 0 and abs(force.adjusted()) <= _LONGEST else None


def _row(item: Record, recording: Recording) -> dict[str, Any]:
    in_service = item.get("in_service_from")
    return {
        "code": item["id"],
        "kind": item["kind"],
        **{name: item.get(name) for name in COLUMNS},
        "properties": item.get("properties"),
        "remarks": remarks(item),
        "in_service_us": recording.moment(in_service).start_us if in_service else None,
        "content_hash": digest(item),
        "recorded_us": recording.now_us,
        "version": 1,
    }


def _stored(session: Session, codes: list[str]) -> dict[str, Item]:
    found: dict[str, Item] = {}
    for some in chunks(codes):
        found.update((i.code, i) for i in session.scalars(select(Item).where(Item.code.in_(some))))
    return found


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of items, by id."""
    statement = select(Item)
    for name in ("kind", "type", "owner"):
        if name in filters:
            statement = statement.where(getattr(Item, name) == filters[name])
    rows, key = page(session, statement, [Item.code], after, limit)
    return [answer(row[0]) for row in rows], key
