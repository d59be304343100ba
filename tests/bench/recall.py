"""How long a recall takes against reading its own rows by key; ratios of interleaved runs.

    python tests/bench/large_laboratory.py 1000000 sqlite:///large.db
    python tests/bench/recall.py sqlite:///large.db 5000 [RUNS]

The window of one working or reference standard is widened until about so many certificates are
affected. `floor` reads the result rows (and, for the list, the certificate rows) of exactly those
certificates by key, as plain tuples. Quote the ratios; the times depend on the machine.
"""

from __future__ import annotations

import resource
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

from api.schemas.faults import RecallRequestSchema
from api.services.recalling import recall
from api.store import links, records
from api.store.database import Database
from api.web.collector import collect_seldom
from graph.moments import text_of
from tests.bench.large_laboratory import DAY_US, START_US

NOW_US = 1_893_456_000_000_000


def request_for(item: str, days: int) -> dict[str, Any]:
    begin = START_US + 1_200 * DAY_US
    fault = {
        "item": item,
        "kind": "true_force_relative_error",
        "delta_rel": "-0.0003",
        "last_good_at": text_of(begin),
        "isolated_at": text_of(begin + days * DAY_US),
    }
    return RecallRequestSchema().load({"fault": fault})


def fitting_request(database: Database, wanted: int) -> dict[str, Any]:
    """Widen the window of a reference until about `wanted` certificates are affected."""
    low, high = 1, 2_400
    while high - low > 1:
        days = (low + high) // 2
        with database.read() as session:
            found = len(recall(session, request_for("REF-3", days), NOW_US).lists["affected"])
        low, high = (days, high) if found <= wanted else (low, days)
    return request_for("REF-3", low)


def timed(work: Callable[[], Any]) -> float:
    """Processor time, which a busy neighbour disturbs less than the clock on the wall."""
    began = time.process_time()
    work()
    return time.process_time() - began


def main() -> None:
    collect_seldom()  # as the server does
    database = Database(sys.argv[1])
    wanted, runs = int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 9
    request = fitting_request(database, wanted)
    with database.read() as session:
        answer = recall(session, request, NOW_US)
        affected = sorted(one.certificate for one in answer.lists["affected"])
        direct = sorted(one.certificate for one in answer.lists["affected"] if one.rank[0] == 1)
        print({name: len(found) for name, found in answer.lists.items()})

        def floor_rows() -> None:
            for _ in records.certificates(session, affected):
                pass

        def list_only() -> None:
            for _ in records.certificates(session, links.everything_downward(session, direct)):
                pass

        def floor_results() -> None:
            for _ in records.results(session, affected):
                pass

        def complete() -> None:
            recall(session, request, NOW_US)

        times: dict[str, list[float]] = {}
        for _ in range(runs):
            for work in (floor_rows, list_only, floor_results, complete):
                times.setdefault(work.__name__, []).append(timed(work))
    for name, seconds in times.items():
        each = statistics.median(seconds) / len(affected) * 1e6
        print(f"{name:14} {statistics.median(seconds) * 1e3:9.1f} ms  {each:7.2f} us a certificate")
    for name, floor in (("list_only", "floor_rows"), ("complete", "floor_results")):
        ratios = [a / b for a, b in zip(times[name], times[floor], strict=True)]
        print(f"{name} / {floor}: {statistics.median(ratios):.2f}")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
