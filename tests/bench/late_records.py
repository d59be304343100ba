"""What stored recalls cost a writer, and how soon they know again what they are worth.

    python tests/bench/large_laboratory.py 100000 sqlite:///large.db
    python -m tests.bench.late_records large.db --recalls 4 100 --entries 5000

Copies of the laboratory get so many recalls of its reference standards; then the same records are
made in each, in turn, and in one without recalls. Before each record all recalls are set as if they
had just been compared, so that every record has the most to mark. Times are the processor's; quote
the ratios. Afterwards the recalls that one record marked are compared with fresh ones, which is
what a server does beside its requests.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from api.services.base.recording import record_one
from api.services.certificates import calibrations
from api.services.recalls import recalls, reporting
from api.services.recalls.rechecking import recheck
from api.services.recalls.staleness import marked
from api.services.records import checks
from api.store.database import Database
from api.store.record_watch import RecallWatch, RecordChange
from api.web.collector import collect_seldom
from graph.moments import text_of
from tests.bench.large_laboratory import DAY_US, DAYS, REFERENCES, START_US
from tests.bench.recall_faults import NOW_US, fault, request_for

Record = dict[str, Any]


def certificate(item: str, day: int, used: str | None, **more: Any) -> Record:
    """A calibration as the schema loads it."""
    uses = [] if used is None else [{"item": used, "role": "force_reference"}]
    return {
        "certificate": f"LATE-{uuid.uuid4()}",
        "revision": 0,
        "status": "issued",
        "item": item,
        "performed_at": text_of(START_US + day * DAY_US),
        "external": False,
        "assigns_value": True,
        "uses": uses,
        "results": [],
    } | more


def check(item: str, day: int) -> Record:
    """A check as the schema loads it."""
    at = text_of(START_US + day * DAY_US)
    return {"id": f"LATE-{uuid.uuid4()}", "item": item, "at": at, "result": "pass"}


WRITES: dict[str, Callable[[], tuple[Any, Record]]] = {
    "an ordinary certificate of today": lambda: (
        calibrations.COLLECTION,
        certificate("CI-9070", DAYS + 1, "WS-3"),
    ),
    "a late one, inside the windows": lambda: (
        calibrations.COLLECTION,
        certificate("CI-9071", 2_000, "WS-4"),
    ),
    "a late one of a working standard": lambda: (
        calibrations.COLLECTION,
        certificate("WS-5", 2_500, "REF-4"),
    ),
    "one of a recalled standard": lambda: (
        calibrations.COLLECTION,
        certificate("REF-3", DAYS + 1, None, external=True, issuer="Other"),
    ),
    "a check of a recalled standard": lambda: (checks.COLLECTION, check("REF-3", 2_000)),
}


def store_recalls(database: Database, count: int, entries: int) -> None:
    """Store recalls of the reference standards, each of about so many entries."""
    days = DAYS
    for number in range(count):
        request = request_for(fault(f"REF-{number % REFERENCES}", 30, days))
        with database.read() as session:
            looked = reporting.look(session, request, NOW_US)
        found = sum(map(len, looked.answer.lists.values()))
        if not number and found > entries:
            days = max(60, days * entries // found)
        with database.write() as session:
            recalls.store(session, looked.answer, None, NOW_US, looked.read_at)
        print(f"\r{number + 1} recalls, the last of {found} entries", end="", flush=True)
    print()


def settled(database: Database) -> None:
    """Set all recalls as if they had just been compared."""
    with database.write() as session:
        last = session.scalar(sa.select(sa.func.max(RecordChange.id))) or 0
        values = {"marked_position": None, "checked_position": last}
        session.execute(sa.update(RecallWatch).values(**values))


def written(database: Database, what: str) -> float:
    """Write one record; return the seconds of it."""
    collection, record = WRITES[what]()
    settled(database)
    began = time.process_time()
    with database.write() as session:
        record_one(session, collection, record, NOW_US)
    return time.process_time() - began


def waiting(database: Database) -> list[int]:
    with database.read() as session:
        return list(session.scalars(sa.select(RecallWatch.recall_id).where(marked())))


def compared(database: Database, what: str) -> str:
    """Compare what one record marked; say how long it took."""
    written(database, what)
    keys = waiting(database)
    times = []
    for key in keys:
        began = time.process_time()
        recheck(database, key, lambda: NOW_US)
        times.append(time.process_time() - began)
    if not times:
        return "marks none"
    return f"marks {len(keys)}, compared in {sum(times):.1f} s, each {median_ms(times):.0f} ms"


def median_ms(seconds: list[float]) -> float:
    return statistics.median(seconds) * 1e3


def said(count: int, ms: float, none: float) -> str:
    return f"{count} recalls {ms:.1f} ms ({ms / none:.2f} x)"


def copies(source: Path, counts: list[int], entries: int) -> Iterator[tuple[int, Database]]:
    """Copies of a database with so many recalls each."""
    for count in counts:
        path = source.with_name(f"{source.stem}-{count}-recalls.db")
        if not path.exists():
            shutil.copyfile(source, path)
            store_recalls(Database(f"sqlite:///{path}"), count, entries)
        yield count, Database(f"sqlite:///{path}")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("database", type=Path, help="file of a laboratory without recalls")
    parser.add_argument("--recalls", type=int, nargs="+", default=[4, 100])
    parser.add_argument("--entries", type=int, default=5_000)
    parser.add_argument("--rounds", type=int, default=11)
    given = parser.parse_args()
    collect_seldom()
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "none.db"
        shutil.copyfile(given.database, source)
        made = [(0, Database(f"sqlite:///{source}"))]
        made += copies(given.database, given.recalls, given.entries)
        for what in WRITES:
            times: dict[int, list[float]] = {count: [] for count, _ in made}
            for number in range(given.rounds + 1):
                for count, database in made:
                    seconds = written(database, what)
                    if number:  # the first fills caches
                        times[count].append(seconds)
            none = median_ms(times[0])
            rest = ", ".join(said(count, median_ms(times[count]), none) for count, _ in made[1:])
            print(f"{what:34} none {none:.1f} ms, {rest}", flush=True)
        for count, database in made[1:]:
            for what in list(WRITES)[:3]:
                print(f"{count} recalls, {what}: {compared(database, what)}", flush=True)


if __name__ == "__main__":
    main()
