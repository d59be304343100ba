"""A laboratory file, all or nothing, safe to repeat.

Everything is checked and written inside one transaction; any fault rolls all of it back. The graph
lock makes two imports queue, since what is in force for one may depend on the other. A file may be
one document or come in lots (``Source``); what is stored and noted is the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue
from api.services import calibrations, checks, compositions, items
from api.services.recording import Outcome, Record, Recording, digest, zone_of
from api.spans import spanned
from api.store.database import lock_graph
from api.store.journal import note as journal_note
from api.store.link_checks import bare_dates_recorded
from api.store.tables import ImportRun, Laboratory
from graph.moments import BadMoment, time_zone

ANNOTATIONS = ("id", "title", "note", "meaning", "amendment", "traps", "composition_bounds")
# What names a record of any collection.
IDENTITY = ("id", "certificate", "revision", "issuer", "assembly", "part", "from")


def _nothing_more(recording: Recording, outcome: Outcome) -> None:
    """Finish a collection whose records stand by themselves."""


@dataclass(frozen=True, slots=True)
class Collection:
    """How one collection is recorded: lot by lot, then finished once."""

    record: Callable[[Recording, Sequence[Record]], Outcome]
    finish: Callable[[Recording, Outcome], None] = _nothing_more


COLLECTIONS: Mapping[str, Collection] = {
    "items": Collection(items.record),
    "composition": Collection(compositions.record, compositions.finish),
    "calibrations": Collection(calibrations.record, calibrations.finish),
    "checks": Collection(checks.record),
}


class Source(Protocol):
    """A laboratory as loaded by the schemas, in whatever form it came."""

    @property
    def heading(self) -> Record:
        """What stands beside the records: time zone and annotations."""

    def lots(self, collection: str) -> Iterator[Sequence[Record]]:
        """Records of a collection, some at a time."""

    def numbered(self, collection: str, number: int) -> str:
        """Words for where the record of this number stands, such as "line 7"."""


@dataclass(frozen=True, slots=True)
class Document:
    """A laboratory as one document."""

    laboratory: Record

    @property
    def heading(self) -> Record:
        """What stands beside the records."""
        return {name: one for name, one in self.laboratory.items() if name not in COLLECTIONS}

    def lots(self, collection: str) -> Iterator[Sequence[Record]]:
        """All records at once."""
        yield self.laboratory.get(collection, [])

    def numbered(self, collection: str, number: int) -> str:
        """Position in the list, as its pointer says."""
        return f"number {number}"


@dataclass(slots=True)
class Contents:
    """Digest of a laboratory that does not depend on the order or the form of its records."""

    heading: Record
    hashes: dict[str, bytearray] = field(default_factory=dict)

    def add(self, collection: str, records: Sequence[Record]) -> None:
        """Count records in."""
        for one in records:
            hashes = self.hashes.setdefault(collection, bytearray())
            hashes += bytes.fromhex(digest(one))

    def sha256(self) -> str:
        """SHA-256 over the digest of the heading and the sorted digests of each collection."""
        whole = hashlib.sha256(bytes.fromhex(digest(self.heading)))
        for name, hashes in sorted(self.hashes.items()):
            whole.update(name.encode())
            for one in sorted(hashes[at : at + 32] for at in range(0, len(hashes), 32)):
                whole.update(one)
        return whole.hexdigest()


def import_laboratory(session: Session, laboratory: Record, now_us: int) -> Record:
    """Record a laboratory document and count what was new; raises as `import_source` does."""
    return import_source(session, Document(laboratory), now_us)


@spanned("import")
def import_source(
    session: Session, source: Source, now_us: int, recording: Recording | None = None
) -> Record:
    """Record a laboratory and count what was new.

    `recording` is one that `begin` made, for a caller that wants more of it than the counts.

    Raises
    ------
    InvalidRecord, UnknownReference
        For faults in the file, each with its pointer.
    Conflict
        If a record is known with other content, or the time zone is another.
    """
    recording = recording or begin(session, now_us, source.heading.get("time_zone"))
    recording.numbered = source.numbered
    contents = Contents(source.heading)
    counts = {}
    for name, collection in COLLECTIONS.items():
        outcome = Outcome()
        for lot in source.lots(name):
            outcome += collection.record(recording, lot)
            recording.before[name] += len(lot)
            contents.add(name, lot)
        collection.finish(recording, outcome)
        recording.check()
        counts[name] = outcome
    created = {name: outcome.created for name, outcome in counts.items()}
    if any(created.values()):
        journal_note(session, "import", created=created, sha256=contents.sha256())
    annotations = {name: source.heading[name] for name in ANNOTATIONS if name in source.heading}
    session.add(ImportRun(recorded_us=now_us, annotations=annotations, counts=created))
    return {
        "created": created,
        "unchanged": {name: outcome.unchanged for name, outcome in counts.items()},
    }


def record_one(session: Session, collection: str, record: Record, now_us: int) -> Outcome:
    """Record one item, holding, calibration or check that was sent by itself."""
    recording = begin(session, now_us)
    recording.single = collection
    outcome = COLLECTIONS[collection].record(recording, [record])
    COLLECTIONS[collection].finish(recording, outcome)
    recording.check()
    if outcome.created:
        named = {name: record[name] for name in IDENTITY if record.get(name) is not None}
        journal_note(session, f"recorded in {collection}", **named, sha256=digest(record))
    return outcome


def begin(session: Session, now_us: int, zone_name: str | None = None) -> Recording:
    """Take the graph lock and settle the time zone of bare dates."""
    lock_graph(session)
    recorded = zone_of(session)
    if zone_name is None or zone_name == recorded.key:
        return Recording(session, now_us, recorded)
    try:
        zone = time_zone(zone_name)
    except BadMoment as unknown:
        remedy = 'write an IANA name such as "Europe/Vienna"'
        issue = Issue("/time_zone", str(unknown), remedy, zone_name)
        raise InvalidRecord(str(unknown), [issue]) from unknown
    if session.scalar(select(bare_dates_recorded())):
        remedy = "write bare dates of this file as date-times with a zone"
        issue = Issue("/time_zone", f"bare dates were read in {recorded.key}", remedy, zone_name)
        raise Conflict("the laboratory has another time zone", [issue])
    session.merge(Laboratory(id=1, time_zone=zone_name))
    session.flush()
    return Recording(session, now_us, zone)
