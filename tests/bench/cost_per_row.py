"""What a row costs: bytes in the store and in a snapshot, time to import, recall, list and export.

    python tests/bench/large_laboratory.py 1000000 sqlite:///large.db
    python -m tests.bench.cost_per_row sqlite:///large.db [--snapshot FOLDER]

The same for a PostgreSQL database. Nothing is changed: what is imported is rolled back. With a
FOLDER a snapshot is written there and asked too, in turn with the database. Times are those of the
processor (on PostgreSQL the clock's, since its server works in processes of its own); they belong
to the machine, the bytes do not.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.certificates import certificates
from api.services.imports.imports import import_laboratory
from api.services.recalls.run import recall, recall_from
from api.store import links, snapshot_files
from api.store.database import Database
from api.store.reading import SessionReader
from api.store.snapshot import Snapshot
from graph.moments import text_of
from tests.bench.large_laboratory import DAY_US, START_US

NOW_US = 1_893_456_000_000_000
TABLES = ("item", "certificate", "usage", "result")
IMPORTED, POINTS, PAGE, PAGES = 1_000, 5, 200, 20


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("database")
    parser.add_argument("--snapshot", type=Path, help="a new folder, or one written before")
    parser.add_argument("--days", type=int, default=240, help="window of the recall")
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    database = Database(given.database)
    clock = time.process_time if database.is_sqlite else time.perf_counter
    rows = sizes(database)
    imports(database, clock)
    lists(database, clock, given.rounds)
    snapshot = None if given.snapshot is None else taken(database, given.snapshot, clock, rows)
    recalls(database, snapshot, clock, given.days, given.rounds)


def sizes(database: Database) -> int:
    """Print bytes a row of each table and of its indexes; return the rows of all of them."""
    total = 0
    with database.read() as session:
        for table in TABLES:
            rows = session.scalar(sa.text(f"SELECT count(*) FROM {table}")) or 1
            total += rows
            parts = _by_name(session, table)
            shown = ", ".join(f"{name} {size / rows:.0f}" for name, size in parts.items())
            print(f"{table}: {rows:,} rows, {sum(parts.values()) / rows:.0f} bytes each: {shown}")
    return total


def _by_name(session: Any, table: str) -> dict[str, int]:
    if session.get_bind().dialect.name == "sqlite":
        statement = (
            "SELECT s.name, sum(s.pgsize) FROM dbstat s JOIN sqlite_schema m ON m.name = s.name"
            " WHERE m.tbl_name = :table AND s.aggregate = TRUE GROUP BY s.name ORDER BY 2 DESC"
        )
    else:
        statement = (
            "SELECT relname, pg_relation_size(oid) FROM pg_class WHERE oid = to_regclass(:table)"
            " OR oid IN (SELECT indexrelid FROM pg_index WHERE indrelid = to_regclass(:table))"
            " ORDER BY 2 DESC"
        )
    return dict(session.execute(sa.text(statement), {"table": table}).all())


def imports(database: Database, clock: Callable[[], float]) -> None:
    """Print what a certificate with two uses and its results costs on its way in.

    Then that of a working standard: every later use of it is resolved anew.
    """
    new = [f"NEW-{n}" for n in range(IMPORTED)]
    for name, items, calibrated in (("a new instrument", new, new), ("WS-7", [], ["WS-7"])):
        began = clock()
        loaded = LaboratorySchema().load(laboratory(items, calibrated))
        checked = clock()
        with database.write() as session:
            import_laboratory(session, loaded, NOW_US)
            session.flush()
            written = clock()
            session.rollback()
        shape, rest = checked - began, written - checked
        print(
            f"import of a certificate of {name}: shape {shape / len(calibrated) * 1e6:.0f} us,"
            f" records and rows {rest / len(calibrated) * 1e6:.0f} us"
        )


def laboratory(items: Sequence[str], calibrated: Sequence[str]) -> dict[str, Any]:
    """New certificates of these items, calibrated with what the large laboratory has."""
    return {
        "items": [{"id": item, "kind": "customer_instrument"} for item in items],
        "calibrations": [
            {
                "certificate": f"NEW-{n}",
                "revision": 0,
                "status": "issued",
                "item": item,
                "performed_at": "2025-06-01T10:00:00Z",
                "customer": f"Customer {n % 500 + 1}",
                "uses": [
                    {"item": f"REF-{n % 20}", "role": "force_reference"},
                    {"item": f"ADP-{n % 2000}", "role": "adapter"},
                ],
                "results": [
                    {
                        "point": point,
                        "unit": "kN",
                        "applied": str(20 * point),
                        "error": "0.003",
                        "U": "0.004",
                        "tolerance": "0.01",
                        "rule": "guard_U",
                    }
                    for point in range(1, POINTS + 1)
                ],
            }
            for n, item in enumerate(calibrated)
        ],
    }


def lists(database: Database, clock: Callable[[], float], rounds: int) -> None:
    """Print what a line of a list costs, the first pages and those of one customer."""
    for name, filters in (("all", {}), ("one customer", {"customer": "Customer 7"})):
        times, lines = [], 0
        for _ in range(rounds):
            began, after, lines = clock(), None, 0
            with database.read() as session:
                for _ in range(PAGES):
                    found, key = certificates.find(session, filters, after, PAGE)
                    lines += len(found)
                    if key is None:
                        break
                    after = key
            times.append(clock() - began)
        print(f"list, {name}: {statistics.median(times) / lines * 1e6:.0f} us a certificate")


def taken(database: Database, folder: Path, clock: Callable[[], float], rows: int) -> Snapshot:
    """Write a snapshot unless it is there, and print what a row of it costs."""
    if not folder.exists():
        began = clock()
        with database.read() as session:
            snapshot_files.write(session, folder, {"time_zone": None})
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        each = (clock() - began) / rows * 1e6
        print(f"snapshot: {each:.1f} us for each row of the store, peak memory {peak:.0f} MB")
    snapshot = Snapshot(folder)
    for name, one in snapshot.manifest["files"].items():
        if one["rows"]:
            print(f"  {name}: {one['rows']:,} rows, {one['bytes'] / one['rows']:.1f} bytes each")
    return snapshot


def recalls(
    database: Database,
    snapshot: Snapshot | None,
    clock: Callable[[], float],
    days: int,
    rounds: int,
) -> None:
    """Print what a recall costs for each certificate that it lists, and its walk alone."""
    request = request_for(days)
    times: dict[str, list[float]] = {}

    def timed(name: str, work: Callable[..., Any], *given: Any) -> Any:
        began = clock()
        found = work(*given)
        times.setdefault(name, []).append(clock() - began)
        return found

    with database.read() as session:
        reader = SessionReader(session)
        for _ in range(rounds):
            answer = timed("database", recall, session, request, NOW_US)
            affected = answer.lists["affected"]
            direct = {one.certificate for one in affected if one.rank[0] == 1}
            timed("its walk alone", links.everything_downward, reader, direct)
            if snapshot is not None:
                other = timed("snapshot", recall_from, snapshot, request, NOW_US)
                timed("its joins alone", snapshot.everything_downward, direct)
                assert other.result_hash == answer.result_hash
    for name, measured in times.items():
        middle = statistics.median(measured)
        print(
            f"recall of {len(affected):,} affected, {name}: {middle:.2f} s,"
            f" {middle / len(affected) * 1e6:.0f} us a certificate"
        )


def request_for(days: int) -> dict[str, Any]:
    """A constant error of one reference standard over so many days."""
    begin = START_US + 1_200 * DAY_US
    fault = {
        "item": "REF-3",
        "kind": "true_force_relative_error",
        "delta_rel": "-0.0003",
        "last_good_at": text_of(begin),
        "isolated_at": text_of(begin + days * DAY_US),
    }
    return RecallRequestSchema().load({"fault": fault})


if __name__ == "__main__":
    main()
