"""What it costs to ask what speaks against a certificate before it is issued.

    python tests/bench/large_laboratory.py 1000000 sqlite:///large.db
    python -m tests.bench.cost_of_grounds sqlite:///large.db --recalls 20

The laboratory gets so many recalls of its reference standards, unless it has them; then three
kinds of certificate, with five results each, are recorded and asked about, and nothing of it stays.
Recording and asking are timed by themselves, by the processor of this process and by the clock:
what a server of PostgreSQL does is in the second alone.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from statistics import median
from typing import Any

import sqlalchemy as sa

from api.services.base.recording import record_one
from api.services.certificates import calibrations
from api.services.grounds.grounds import grounds
from api.store import migrate
from api.store.database import Database
from api.store.tables import Certificate, Recall
from api.web.collector import collect_seldom
from tests.bench.large_laboratory import DAYS, FORCES
from tests.bench.late_records import certificate, settled, store_recalls
from tests.bench.recall_faults import NOW_US

Record = dict[str, Any]
Timed = tuple[float, float]


def results() -> list[Record]:
    """Five results of U = 0.5 %, judged and reported."""
    return [
        {
            "point": number,
            "stage": "single",
            "applied": Decimal(force),
            "indicated": force + Decimal("0.01"),
            "error": Decimal("0.01"),
            "U": force * Decimal("0.005"),
            "k": Decimal(2),
            "unit": "kN",
            "tolerance": force * Decimal("0.02"),
            "rule": "guard_U",
            "verdict_reported": "pass",
        }
        for number, force in enumerate(FORCES)
    ]


ASKED: dict[str, Callable[[], Record]] = {
    "an ordinary one of today": lambda: certificate("CI-9070", DAYS + 1, "WS-3", results=results()),
    "a late one, inside the windows": lambda: certificate(
        "CI-9071", 2_000, "WS-4", results=results()
    ),
    "a late one of a working standard": lambda: certificate(
        "WS-5", 2_500, "REF-4", results=results()
    ),
}


def timed(work: Callable[[], Any]) -> tuple[Timed, Any]:
    """Return the seconds of the processor and of the clock, and what was answered."""
    began = time.process_time(), time.perf_counter()
    answer = work()
    return (time.process_time() - began[0], time.perf_counter() - began[1]), answer


def asked(database: Database, record: Record) -> tuple[Timed, Timed, Counter[str]]:
    """Record one certificate, ask about it, and leave nothing of it."""
    settled(database)
    with database.write() as session:
        recording, _ = timed(lambda: record_one(session, calibrations.COLLECTION, record, NOW_US))
        key = session.scalar(sa.select(sa.func.max(Certificate.id)))
        asking, found = timed(lambda: grounds(session, {key: NOW_US}))
        session.rollback()
    return recording, asking, Counter(one.code for one in found[key])


def said(some: list[Timed]) -> str:
    processor, clock = (median(one) * 1e3 for one in zip(*some, strict=True))
    return f"{processor:.1f} ms (clock {clock:.1f})"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("database", help="address of a laboratory; it gets recalls")
    parser.add_argument("--recalls", type=int, default=20)
    parser.add_argument("--entries", type=int, default=2_500)
    parser.add_argument("--rounds", type=int, default=11)
    given = parser.parse_args()
    collect_seldom()
    database = Database(given.database)
    migrate.upgrade(database)
    with database.read() as session:
        stored = session.scalar(sa.select(sa.func.count(Recall.id))) or 0
        certificates = session.scalar(sa.select(sa.func.count(Certificate.id)))
    if stored < given.recalls:
        store_recalls(database, given.recalls - stored, given.entries)
    print(f"{certificates} certificates, {max(stored, given.recalls)} recalls")
    for name, make in ASKED.items():
        rounds = [asked(database, make()) for _ in range(given.rounds + 1)][1:]  # one fills caches
        recording, asking, codes = zip(*rounds, strict=True)
        found = ", ".join(sorted(codes[-1])) or "nothing"
        print(
            f"{name:33} grounds {said(list(asking))}, recording {said(list(recording))}: {found}",
            flush=True,
        )


if __name__ == "__main__":
    main()
