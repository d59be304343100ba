"""A laboratory file, all or nothing, safe to repeat.

Everything is checked and written inside one transaction; any fault rolls all of it back. The graph
lock makes two imports queue, since what is in force for one may depend on the other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue
from api.services import calibrations, checks, compositions, items
from api.services.recording import Outcome, Record, Recording, digest, zone_of
from api.store.database import lock_graph
from api.store.journal import note as journal_note
from api.store.links import bare_dates_recorded
from api.store.tables import ImportRun, Laboratory
from graph.moments import BadMoment, time_zone

ANNOTATIONS = ("id", "title", "note", "meaning", "amendment", "traps", "composition_bounds")
# What names a record of any collection.
IDENTITY = ("id", "certificate", "revision", "issuer", "assembly", "part", "from")
COLLECTIONS: dict[str, Callable[[Recording, Sequence[Record]], Outcome]] = {
    "items": items.record,
    "composition": compositions.record,
    "calibrations": calibrations.record,
    "checks": checks.record,
}


def import_laboratory(session: Session, laboratory: Record, now_us: int) -> Record:
    """Record a laboratory file and count what was new.

    Raises
    ------
    InvalidRecord, UnknownReference
        For faults in the file, each with its pointer.
    Conflict
        If a record is known with other content, or the time zone is another.
    """
    recording = begin(session, now_us, laboratory.get("time_zone"))
    counts = {}
    for name, record in COLLECTIONS.items():
        counts[name] = record(recording, laboratory.get(name, []))
        recording.check()
    created = {name: outcome.created for name, outcome in counts.items()}
    if any(created.values()):
        journal_note(session, "import", created=created, sha256=digest(laboratory))
    annotations = {name: laboratory[name] for name in ANNOTATIONS if name in laboratory}
    session.add(ImportRun(recorded_us=now_us, annotations=annotations, counts=created))
    return {
        "created": created,
        "unchanged": {name: outcome.unchanged for name, outcome in counts.items()},
    }


def record_one(session: Session, collection: str, record: Record, now_us: int) -> Outcome:
    """Record one item, holding, calibration or check that was sent by itself."""
    recording = begin(session, now_us)
    recording.single = collection
    outcome = COLLECTIONS[collection](recording, [record])
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
