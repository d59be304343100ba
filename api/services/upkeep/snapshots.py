"""Snapshots of the records: taken from the database, and asked for a recall without it.

A recall from a snapshot is the one that the database gave at the instant of the snapshot: the same
engine reads the same records, so the same result hash comes out. Nothing is stored.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy.orm import Session

from api.errors import InvalidRecord
from api.rules import ENGINE_VERSION
from api.services.base.record import Record
from api.services.recalls.run import Answer, recall_from
from api.services.upkeep import journal
from api.store import records, snapshot_files
from api.store.reading import SessionReader
from api.store.snapshot import Snapshot
from api.store.snapshot_files import SnapshotError
from graph.moments import instant_us, text_of, time_zone


def take(session: Session, folder: Path, schema: str, now_us: int) -> Record:
    """Write what a session sees into a new folder and return the manifest.

    `schema` is that of the database. Everything that was committed by `now_us` is in it.

    Raises InvalidRecord if the folder exists already.
    """
    about = {
        "as_of": text_of(now_us),
        "schema": schema,
        "engine_version": ENGINE_VERSION,
        "time_zone": records.time_zone(SessionReader(session)),
        "journal": journal.head(session),
    }
    try:
        return snapshot_files.write(session, folder, about)
    except SnapshotError as error:
        raise InvalidRecord(str(error)) from error


def opened(folder: Path) -> Snapshot:
    """Open a snapshot; InvalidRecord for what is none."""
    try:
        return Snapshot(folder)
    except SnapshotError as error:
        raise InvalidRecord(str(error)) from error


def recall(snapshot: Snapshot, request: Record) -> Answer:
    """Find what the reported faults reach in a snapshot, whose instant counts as now.

    Raises as `run.recall_from` does.
    """
    return recall_from(snapshot, request, as_of_us(snapshot))


def as_of_us(snapshot: Snapshot) -> int:
    """Return the instant of a snapshot."""
    return instant_us(snapshot.manifest["as_of"], time_zone("UTC"))
