"""What every recording use case shares: one transaction, all faults at once, nothing half-written.

Records come in as loaded by the schemas. Each kind of record is first compared with what is stored:
the same again is left alone, another one under the same identity is a conflict, and one identity
twice in a document is refused. Faults are collected with their pointers and raised together, before
the transaction is committed, so that nothing is stored.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, UnknownReference, pointer
from api.store.chunks import chunks
from api.store.tables import Item, Laboratory
from graph import moments

Record = dict[str, Any]
# Enough to mend a file with; a file with more faults than this has one cause.
MOST_ISSUES = 200
# Texts that any record may carry beside its note; they are kept and decide nothing.
REMARKS = ("title", "meaning", "amendment")


@dataclass(frozen=True, slots=True)
class ItemFacts:
    """What recording needs to know of an item."""

    key: int
    code: str
    kind: str
    in_service_us: int | None


@dataclass(slots=True)
class Recording:
    """One recording in progress: its session, clock and zone, and the faults found so far.

    ``single`` is the name of the collection when one record was sent by itself: pointers then start
    at the record, not at the collection.
    """

    session: Session
    now_us: int
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    single: str | None = None
    items: dict[str, ItemFacts] = field(default_factory=dict)
    issues: list[Issue] = field(default_factory=list)
    conflicts: list[Issue] = field(default_factory=list)
    dangling: bool = False

    def place(self, collection: str, index: int, *parts: str | int) -> str:
        """Pointer to a part of a record in what was sent."""
        return pointer(*parts) if self.single else pointer(collection, index, *parts)

    def refuse(self, place: str, detail: str, remedy: str, value: object = None) -> None:
        """Note a fault; raised with all others by `check`."""
        if len(self.issues) < MOST_ISSUES:
            shown = None if value is None else str(value)[:200]
            self.issues.append(Issue(place, detail, remedy, shown))

    def conflict(self, place: str, detail: str, remedy: str, value: object = None) -> None:
        """Note a clash with what is recorded already."""
        if len(self.conflicts) < MOST_ISSUES:
            shown = None if value is None else str(value)[:200]
            self.conflicts.append(Issue(place, detail, remedy, shown))

    def check(self) -> None:
        """Raise what was found; without faults, do nothing."""
        if self.issues:
            kind = UnknownReference if self.dangling else InvalidRecord
            raise kind(f"{len(self.issues)} fault(s) in what was sent; nothing stored", self.issues)
        if self.conflicts:
            raise Conflict(
                f"{len(self.conflicts)} record(s) clash with recorded ones; nothing stored",
                self.conflicts,
            )

    def moment(self, text: str) -> moments.Moment:
        """Resolve a text in the laboratory's zone."""
        return moments.moment(text, self.zone)

    def item(self, code: str, place: str) -> ItemFacts | None:
        """Return the item of this id, or note the dangling link."""
        found = self.items.get(code)
        if found is None:
            self.dangling = True
            self.refuse(
                place,
                f'item "{code}" is not recorded',
                "record the item first, or mend the id",
                code,
            )
        return found

    def know_items(self, codes: set[str]) -> None:
        """Look up the items of these ids, so that `item` finds them."""
        wanted = sorted(codes - self.items.keys())
        for some in chunks(wanted):
            rows = self.session.execute(
                select(Item.id, Item.code, Item.kind, Item.in_service_us).where(Item.code.in_(some))
            )
            self.items.update((row.code, ItemFacts(*row)) for row in rows)


@dataclass(frozen=True, slots=True)
class Outcome:
    """How many records of one collection were new and how many were known already."""

    created: int = 0
    unchanged: int = 0


def zone_of(session: Session) -> ZoneInfo:
    """Return the laboratory's time zone; UTC until one is recorded."""
    name = session.scalar(select(Laboratory.time_zone))
    return moments.time_zone(name or "UTC")


def digest(record: Mapping[str, Any]) -> str:
    """SHA-256 over the canonical text of a record; absent and null are the same."""
    text = json.dumps(_canonical(record), sort_keys=True, ensure_ascii=False, default=_text)
    return hashlib.sha256(text.encode()).hexdigest()


def remarks(record: Mapping[str, Any]) -> Record | None:
    """Return the remarks of a record, None if it has none."""
    return {name: record[name] for name in REMARKS if name in record} or None


def repeated(
    recording: Recording, collection: str, identities: Sequence[Hashable], names: Sequence[str]
) -> None:
    """Refuse an identity that stands twice in one document."""
    first: dict[Hashable, int] = {}
    for index, identity in enumerate(identities):
        if identity in first:
            recording.refuse(
                recording.place(collection, index),
                f"{names[index]} stands twice in this document, first at number {first[identity]}",
                "send each record once",
                names[index],
            )
        else:
            first[identity] = index


def _canonical(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _canonical(part) for key, part in value.items() if part is not None}
    if isinstance(value, list | tuple):
        return [_canonical(part) for part in value]
    return value


def _text(value: object) -> str:
    if isinstance(value, Decimal):
        return format(value, "f")
    raise TypeError(f"{type(value).__name__} does not belong in a record")
