"""What every recording use case shares: one transaction, all faults at once, nothing half-written.

Records come in as loaded by the schemas. Each kind of record is first compared with what is stored:
the same again is left alone, another one under the same identity is a conflict, and one identity
twice in a document is refused. Faults are collected with their pointers and raised together, before
the transaction is committed, so that nothing is stored.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, UnknownReference, pointer
from api.services.base.record import Record, digest
from api.store.chunks import chunks
from api.store.graph_lock import lock_graph
from api.store.journal import note as journal_note
from api.store.link_checks import bare_dates_recorded
from api.store.record_changes import touched
from api.store.tables import Item, Laboratory
from graph import moments

# Enough to mend a file with; a file with more faults than this has one cause.
MOST_ISSUES = 200
# Texts that any record may carry beside its note; they are kept and decide nothing.
REMARKS = ("title", "meaning", "amendment")
# What names a record of any collection.
IDENTITY = ("id", "certificate", "revision", "issuer", "assembly", "part", "from")


# The columns of an item that recording needs to know.
FACTS = ("id", "code", "kind", "in_service_us", "type", "owner")


@dataclass(frozen=True, slots=True)
class ItemFacts:
    """What recording needs to know of an item: `FACTS` in this order."""

    key: int
    code: str
    kind: str
    in_service_us: int | None
    type: str | None = None
    owner: str | None = None


@dataclass(frozen=True, slots=True)
class NewCertificates:
    """The first certificate that a recording inserted: its key and its name."""

    first_key: int
    first_name: str


@dataclass(slots=True)
class Recording:
    """One recording in progress: its session, clock and zone, and the faults found so far.

    ``single`` is the name of the collection when one record was sent by itself: pointers then start
    at the record, not at the collection. Records may come in lots: ``before`` counts those of
    earlier lots, so that pointers go on as if all stood in one document; ``numbered`` says in words
    which record a number means.
    """

    session: Session
    now_us: int
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    single: str | None = None
    items: dict[str, ItemFacts] = field(default_factory=dict)
    issues: list[Issue] = field(default_factory=list)
    conflicts: list[Issue] = field(default_factory=list)
    dangling: bool = False
    most_issues: int = MOST_ISSUES
    before: Counter[str] = field(default_factory=Counter)
    numbered: Callable[[str, int], str] = lambda _, number: f"number {number}"
    # Which number each identity of a collection has in what was sent, by a hash: 16 bytes each.
    seen: dict[str, dict[bytes, int]] = field(default_factory=dict)
    missing: Counter[tuple[str, str]] = field(default_factory=Counter)
    certificates: NewCertificates | None = None
    # What was sent with certificates about who answers for their issue, by key.
    overrides: dict[int, Record] = field(default_factory=dict)
    # Items that were named as an assembly.
    assemblies: set[str] = field(default_factory=set)
    # Items that the records of this collection concern: holdings, checks.
    concerned: set[int] = field(default_factory=set)

    def place(self, collection: str, index: int, *parts: str | int) -> str:
        """Pointer to a part of a record of this lot in what was sent."""
        return self.place_of(collection, self.before[collection] + index, *parts)

    def place_of(self, collection: str, number: int, *parts: str | int) -> str:
        """Pointer to a part of the record of this number in what was sent."""
        return pointer(*parts) if self.single else pointer(collection, number, *parts)

    def number_of(self, collection: str, identity: Hashable) -> int:
        """Number in what was sent of a record that `repeated` has seen."""
        return self.seen[collection][_mark(identity)]

    def refuse(self, place: str, detail: str, remedy: str, value: object = None) -> None:
        """Note a fault; raised with all others by `check`."""
        if len(self.issues) < self.most_issues:
            shown = None if value is None else str(value)[:200]
            self.issues.append(Issue(place, detail, remedy, shown))

    def lacks(self, kind: str, code: str, place: str, detail: str, remedy: str) -> None:
        """Note a link to something of a kind (items, rules ...) that is not recorded."""
        self.dangling = True
        self.missing[kind, code] += 1
        self.refuse(place, detail, remedy, code)

    def conflict(self, place: str, detail: str, remedy: str, value: object = None) -> None:
        """Note a clash with what is recorded already."""
        if len(self.conflicts) < self.most_issues:
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
            detail = f'item "{code}" is not recorded'
            self.lacks("items", code, place, detail, "record the item first, or mend the id")
        return found

    def know_items(self, codes: set[str]) -> None:
        """Look up the items of these ids, so that `item` finds them."""
        wanted = sorted(codes - self.items.keys())
        for some in chunks(wanted):
            facts = (getattr(Item, name) for name in FACTS)
            rows = self.session.execute(select(*facts).where(Item.code.in_(some)))
            self.items.update((row.code, ItemFacts(*row)) for row in rows)


@dataclass(frozen=True, slots=True)
class Outcome:
    """How many records of one collection were new and how many were known already."""

    created: int = 0
    unchanged: int = 0

    def __add__(self, other: Outcome) -> Outcome:
        return Outcome(self.created + other.created, self.unchanged + other.unchanged)


def _nothing_more(recording: Recording, outcome: Outcome) -> None:
    """Finish a collection whose records stand by themselves."""


@dataclass(frozen=True, slots=True)
class Collection:
    """How one collection is recorded: lot by lot, then finished once."""

    name: str
    record: Callable[[Recording, Sequence[Record]], Outcome]
    finish: Callable[[Recording, Outcome], None] = _nothing_more


def record_one(session: Session, collection: Collection, record: Record, now_us: int) -> Outcome:
    """Record one item, holding, calibration or check that was sent by itself."""
    recording = begin(session, now_us)
    recording.single = collection.name
    outcome = collection.record(recording, [record])
    collection.finish(recording, outcome)
    recording.check()
    if outcome.created:
        named = {name: record[name] for name in IDENTITY if record.get(name) is not None}
        what = f"recorded in {collection.name}"
        journal_note(session, what, **named, sha256=digest(record))
    return outcome


def begin(session: Session, now_us: int, zone_name: str | None = None) -> Recording:
    """Take the graph lock and settle the time zone of bare dates."""
    lock_graph(session)
    recorded = zone_of(session)
    if zone_name is None or zone_name == recorded.key:
        return Recording(session, now_us, recorded)
    try:
        zone = moments.time_zone(zone_name)
    except moments.BadMoment as unknown:
        remedy = 'write an IANA name such as "Europe/Vienna"'
        issue = Issue("/time_zone", str(unknown), remedy, zone_name)
        raise InvalidRecord(str(unknown), [issue]) from unknown
    if session.scalar(select(bare_dates_recorded())):
        remedy = "write bare dates of this file as date-times with a zone"
        issue = Issue("/time_zone", f"bare dates were read in {recorded.key}", remedy, zone_name)
        raise Conflict("the laboratory has another time zone", [issue])
    session.merge(Laboratory(id=1, time_zone=zone_name))
    touched(session, f"bare dates are read in {zone_name}", now_us, everything=True)
    return Recording(session, now_us, zone)


def zone_of(session: Session) -> ZoneInfo:
    """Return the laboratory's time zone; UTC until one is recorded."""
    name = session.scalar(select(Laboratory.time_zone))
    return moments.time_zone(name or "UTC")


def remarks(record: Mapping[str, Any]) -> Record | None:
    """Return the remarks of a record, None if it has none."""
    return {name: record[name] for name in REMARKS if name in record} or None


def repeated(
    recording: Recording, collection: str, identities: Sequence[Hashable], names: Sequence[str]
) -> None:
    """Refuse an identity that stands twice in what was sent, in this lot or an earlier one."""
    seen = recording.seen.setdefault(collection, {})
    for index, identity in enumerate(identities):
        number = recording.before[collection] + index
        first = seen.setdefault(_mark(identity), number)
        if first != number:
            at = recording.numbered(collection, first)
            recording.refuse(
                recording.place(collection, index),
                f"{names[index]} stands twice in this document, first at {at}",
                "send each record once",
                names[index],
            )


def _mark(identity: Hashable) -> bytes:
    return hashlib.blake2b(repr(identity).encode(), digest_size=16).digest()
