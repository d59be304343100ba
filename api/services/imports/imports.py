"""A laboratory file, all or nothing, safe to repeat.

Everything is checked and written inside one transaction; any fault rolls all of it back. The graph
lock makes two imports queue, since what is in force for one may depend on the other. A file may be
one document or come in lots (``Source``); what is stored and noted is the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from sqlalchemy.orm import Session

from api.services.alerts import raising
from api.services.base.record import Record, digest
from api.services.base.recording import Outcome, Recording, begin
from api.services.certificates import calibrations
from api.services.certificates.circles import refuse_through_parts
from api.services.grounds import issues
from api.services.records import checks, compositions, items, requirements, share_notes
from api.spans import spanned
from api.store.journal import note as journal_note
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import ImportRun

ANNOTATIONS = ("id", "title", "note", "meaning", "amendment", "traps", "composition_bounds")
COLLECTIONS = {
    one.name: one
    for one in (
        items.COLLECTION,
        compositions.COLLECTION,
        calibrations.COLLECTION,
        checks.COLLECTION,
        requirements.COLLECTION,
    )
}
# Counted only where the file has some.
SELDOM = (requirements.COLLECTION.name,)


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
    """Record a laboratory and count what was new, with `notes` on what it leaves open.

    `alerts` is how many were raised or opened again, where there were any.

    `recording` is one that was begun by a caller that wants more of it than the counts.

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
    counts: dict[str, Outcome] = {}
    for name, collection in COLLECTIONS.items():
        outcome = Outcome()
        for lot in source.lots(name):
            outcome += collection.record(recording, lot)
            recording.before[name] += len(lot)
            contents.add(name, lot)
        collection.finish(recording, outcome)
        recording.check()
        if name not in SELDOM or outcome != Outcome():
            counts[name] = outcome
    created = {name: outcome.created for name, outcome in counts.items()}
    if created["composition"]:
        refuse_through_parts(session, {recording.items[one].key for one in recording.assemblies})
    if recording.certificates is not None:
        # Last: what speaks against them may stand among the checks.
        first = recording.certificates.first_key
        issues.keep_history(session, first, now_us, recording.overrides)
    if any(created.values()):
        journal_note(session, "import", created=created, sha256=contents.sha256())
    annotations = {name: source.heading[name] for name in ANNOTATIONS if name in source.heading}
    session.add(ImportRun(recorded_us=now_us, annotations=annotations, counts=created))
    answer: Record = {
        "created": created,
        "unchanged": {name: outcome.unchanged for name, outcome in counts.items()},
    }
    # At its end every transaction does this; here the answer tells of it.
    if any(created.values()) and (raised := raising.follow(session)):
        answer["alerts"] = raised
    assemblies = {code: recording.items[code].key for code in recording.assemblies}
    notes = share_notes.notes(Recorded(SessionReader(session)), assemblies)
    return answer | {"notes": notes} if notes else answer
