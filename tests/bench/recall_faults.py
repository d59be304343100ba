"""Faults of the large laboratory for measuring recalls, and how to time two ways in turn."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence
from typing import Any

from api.schemas.faults import RecallRequestSchema
from api.services.recalls.run import recall
from api.store.database import Database
from graph.moments import text_of
from tests.bench.large_laboratory import DAY_US, DAYS, START_US

NOW_US = 1_893_456_000_000_000  # 2030-01-01, after everything that the laboratory did
REFERENCE = "REF-3"
LATE_DAY, MOST_DAYS = 1_200, 2_400  # the laboratory is at full work by then
# Two reference standards carry a tenth of all certificates over the ten years.
TENTH = ("REF-3", "REF-4")
Clock = Callable[[], float]


def fault(item: str, first_day: int, days: int) -> dict[str, Any]:
    """Return a constant error of the force of an item over some days."""
    begin = START_US + first_day * DAY_US
    return {
        "item": item,
        "kind": "true_force_relative_error",
        "delta_rel": "-0.0003",
        "last_good_at": text_of(begin),
        "isolated_at": text_of(begin + days * DAY_US),
    }


def request_for(*faults: dict[str, Any]) -> dict[str, Any]:
    """Return a request as the view hands it on."""
    return RecallRequestSchema().load({"faults": list(faults)})


def tenth() -> dict[str, Any]:
    """Return a request that affects a tenth of the laboratory."""
    return request_for(*(fault(item, 0, DAYS) for item in TENTH))


def fitting(database: Database, wanted: int) -> dict[str, Any]:
    """Widen the window of a reference until at most `wanted` certificates are affected."""
    for first_day, most in ((LATE_DAY, MOST_DAYS), (0, DAYS)):
        low, high = 1, most
        if affected(database, request_for(fault(REFERENCE, first_day, high))) < wanted // 2:
            continue  # a small laboratory: its whole time is needed
        while high - low > 1:
            days = (low + high) // 2
            found = affected(database, request_for(fault(REFERENCE, first_day, days)))
            low, high = (days, high) if found <= wanted else (low, days)
        break
    return request_for(fault(REFERENCE, first_day, low))


def affected(database: Database, request: dict[str, Any]) -> int:
    """Count what a request affects."""
    with database.read() as session:
        return len(recall(session, request, NOW_US).lists["affected"])


def in_turn(
    ways: Sequence[Callable[[], Any]], rounds: int, clock: Clock = time.process_time
) -> list[list[float]]:
    """Seconds of each way, run in turn after one round that does not count.

    Processor time, unless told otherwise: a busy neighbour disturbs it less than the clock on the
    wall.
    """
    found: list[list[float]] = [[] for _ in ways]
    for number in range(rounds + 1):
        for way, seconds in zip(ways, found, strict=True):
            began = clock()
            way()
            if number:
                seconds.append(clock() - began)
    return found


def show(name: str, seconds: Sequence[float], floor: Sequence[float], count: int) -> None:
    """Print a median, what it is for one certificate, and the median of the ratios to the floor."""
    median, least = statistics.median(seconds), statistics.median(floor)
    ratio = statistics.median(a / b for a, b in zip(seconds, floor, strict=True))
    print(
        f"{name:34}{median * 1e3:9.1f} ms {median / count * 1e6:8.2f} us a certificate, floor "
        f"{least / count * 1e6:6.2f} us: {ratio:.2f} x",
        flush=True,
    )
