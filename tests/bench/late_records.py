"""What stored recalls cost a writer, and how soon they know again what they are worth.

    python tests/bench/large_laboratory.py 100000 sqlite:///large.db
    python -m tests.bench.late_records sqlite:///large.db --recalls 4 100 --entries 5000

Copies of the laboratory (of its file, or of its database on PostgreSQL, to which nobody else may be
connected) get so many recalls of its reference standards and are kept for the next time; then the
same records are made in each, in turn, and in one without recalls. Before each record all recalls
are set as if they had just been compared, so that every record has the most to mark. Times are
this process's own on SQLite and the clock's on PostgreSQL, where a server does the most; quote the
ratios. Afterwards the recalls that one record marked are compared with fresh ones, which is what a
server does beside its requests.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
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


def clock(database: Database) -> float:
    """Seconds of this process, or of the world where a server works for it."""
    own = database.engine.dialect.name == "sqlite"
    return time.process_time() if own else time.perf_counter()


def written(database: Database, what: str) -> float:
    """Write one record; return the seconds of it."""
    collection, record = WRITES[what]()
    settled(database)
    began = clock(database)
    with database.write() as session:
        record_one(session, collection, record, NOW_US)
    return clock(database) - began


def waiting(database: Database) -> list[int]:
    with database.read() as session:
        return list(session.scalars(sa.select(RecallWatch.recall_id).where(marked())))


def compared(database: Database, what: str) -> str:
    """Compare what one record marked; say how long it took."""
    written(database, what)
    keys = waiting(database)
    times = []
    for key in keys:
        began = clock(database)
        recheck(database, key, lambda: NOW_US)
        times.append(clock(database) - began)
    if not times:
        return "marks none"
    return f"marks {len(keys)}, compared in {sum(times):.1f} s, each {median_ms(times):.0f} ms"


def median_ms(seconds: list[float]) -> float:
    return statistics.median(seconds) * 1e3


def said(count: int, ms: float, none: float) -> str:
    return f"{count} recalls {ms:.1f} ms ({ms / none:.2f} x)"


def copied(source: sa.URL, name: str) -> tuple[Database, bool]:
    """Open the copy of a laboratory of that name; say whether it had to be made."""
    if source.get_backend_name() == "sqlite":
        path = Path(str(source.database))
        copy = path.with_name(f"{path.stem}-{name}.db")
        made = not copy.exists()
        if made:
            shutil.copyfile(path, copy)
        return Database(f"sqlite:///{copy}"), made
    target = source.set(database=f"{source.database}-{name}")
    server = source.set(drivername="postgresql+psycopg", database="postgres")
    with sa.create_engine(server, isolation_level="AUTOCOMMIT").connect() as connection:
        there = sa.text("SELECT FROM pg_database WHERE datname = :name")
        made = connection.execute(there, {"name": target.database}).first() is None
        if made:
            named = (target.database, source.database)
            connection.exec_driver_sql('CREATE DATABASE "{}" TEMPLATE "{}"'.format(*named))
    return Database(target.render_as_string(hide_password=False)), made


def copies(source: sa.URL, counts: list[int], entries: int) -> Iterator[tuple[int, Database]]:
    """Copies of a laboratory with so many recalls each."""
    for count in counts:
        database, made = copied(source, f"{count}-recalls")
        if made and count:
            store_recalls(database, count, entries)
        yield count, database


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("database", type=sa.make_url, help="a laboratory without recalls")
    parser.add_argument("--recalls", type=int, nargs="+", default=[4, 100])
    parser.add_argument("--entries", type=int, default=5_000)
    parser.add_argument("--rounds", type=int, default=11)
    given = parser.parse_args()
    collect_seldom()
    made = list(copies(given.database, [0, *given.recalls], given.entries))
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
