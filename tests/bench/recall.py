"""How long a recall takes against reading its own rows by key, and against a graph in memory.

    python tests/bench/large_laboratory.py 1000000 sqlite:///large.db
    python tests/bench/large_laboratory.py 100000 sqlite:///small.db
    python -m tests.bench.recall sqlite:///large.db --small sqlite:///small.db

A PostgreSQL database filled in the same way may be given too (--postgres URL). The window of one
reference standard is widened until about 5,000 certificates are affected. The floor of the list
reads the certificates of exactly that list by key, the floor of the complete answer their results,
both as named tuples. Ways are run in turn and in one process, the ratios are medians, and the time
is the processor's (on PostgreSQL the clock's: its server works in processes of its own). Quote the
ratios; the times belong to the machine. What is measured in new processes is in `recall_alone`.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Iterable
from typing import Any

from sqlalchemy.orm import Session

from api.services.recalls.run import recall
from api.store import links, records
from api.store.database import Database
from api.store.reading import SessionReader
from api.web.collector import collect_seldom
from tests.bench.recall_faults import NOW_US, fitting, in_turn, show

ALONE = "tests.bench.recall_alone"


def exhaust(rows: Iterable[Any]) -> None:
    """Read rows to the end and keep none."""
    for _ in rows:
        pass


def measured(session: Session, request: dict[str, Any]) -> tuple[list[int], list[int]]:
    """Keys of the certificates that a request affects, and of those directly."""
    found = recall(session, request, NOW_US).lists["affected"]
    direct = [one.certificate for one in found if one.rank[0] == 1]
    return sorted(one.certificate for one in found), sorted(direct)


def list_and_complete(url: str, wanted: int, rounds: int) -> float:
    """Measure the list and the complete answer; return microseconds for one complete entry."""
    database = Database(url)
    clock = time.process_time if database.is_sqlite else time.perf_counter
    request = fitting(database, wanted)
    with database.read() as session:
        reader = SessionReader(session)
        keys, direct = measured(session, request)
        count = len(keys)
        print(f"{database.engine.dialect.name}, {count} affected certificates")
        rows, listed = in_turn(
            (
                lambda: exhaust(records.certificates(reader, keys)),
                lambda: exhaust(
                    records.certificates(reader, links.everything_downward(reader, direct))
                ),
            ),
            rounds,
            clock,
        )
        show("  list / its rows", listed, rows, count)
        results, complete = in_turn(
            (
                lambda: exhaust(records.results(reader, keys)),
                lambda: recall(session, request, NOW_US),
            ),
            rounds,
            clock,
        )
        show("  complete answer / its results", complete, results, count)
    return statistics.median(complete) / count * 1e6


def alone(what: str, url: str, *more: str) -> dict[str, Any]:
    """Run one measurement in a new process and return what it found."""
    command = [sys.executable, "-m", ALONE, what, url, *more]
    # An installed program is compiled; the first run of each way compiles what is not.
    compiled = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    found = subprocess.run(command, check=True, capture_output=True, text=True, env=compiled)
    answer: dict[str, Any] = json.loads(found.stdout)
    return answer


def tenth(url: str) -> None:
    """Measure a recall of a tenth of the laboratory, as the server makes, keeps and sends it."""
    kept = alone("snapshot", url)
    print(
        f"a tenth, {kept['affected']} affected: recalled in {kept['recall']:.1f} s, stored in "
        f"{kept['store']:.1f} s, {kept['megabytes']:.0f} MB streamed in {kept['stream']:.1f} s; "
        f"peak memory {kept['peak']:.0f} MB"
    )
    timed = alone("tenth", url, "3")
    show("  complete answer / its results", timed["complete"], timed["results"], timed["affected"])


def cold(url: str, wanted: int, rounds: int) -> None:
    """Measure the first answer of a new process against one that loads the graph."""
    (fault,) = fitting(Database(url), wanted)["faults"]
    asked = json.dumps(fault, default=str)
    ways = ("graph", "edges", "list", "command", "recall")
    for way in ways[2:]:
        alone(way, url, asked)
    runs = [{way: alone(way, url, asked) for way in ways} for _ in range(rounds)]

    def median(way: str, *names: str) -> float:
        return statistics.median(sum(run[way][name] for name in names) for run in runs)

    for way in ways:
        ratios = [
            statistics.median(
                sum(run["graph"][name] for name in names) / sum(run[way][name] for name in names)
                for run in runs
            )
            for names in (("imports", "work"), ("work",), ("peak",))
        ]
        print(
            f"new process, {way:7} start {median(way, 'imports'):5.2f} s, then "
            f"{median(way, 'work'):7.3f} s, {median(way, 'peak'):5.0f} MB: graph / this "
            "{:.1f} (without the start {:.0f}), memory {:.1f}".format(*ratios),
            flush=True,
        )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("database")
    parser.add_argument("--small", help="a laboratory of a tenth of the size")
    parser.add_argument("--postgres", help="the same laboratory on PostgreSQL")
    parser.add_argument("--affected", type=int, default=5_000)
    parser.add_argument("--rounds", type=int, default=9)
    given = parser.parse_args()
    collect_seldom()  # as the server does
    each = list_and_complete(given.database, given.affected, given.rounds)
    if given.small:
        small = list_and_complete(given.small, given.affected, given.rounds)
        print(f"  a certificate costs {each / small:.2f} x what it costs in the small laboratory")
    if given.postgres:
        list_and_complete(given.postgres, given.affected, given.rounds)
    tenth(given.database)
    cold(given.database, given.affected, 3)


if __name__ == "__main__":
    main()
