"""What does an import of very many lines need? Time and memory, by hand, on a new SQLite database.

Writes an invented laboratory as NDJSON in shuffled order (a tenth of the lines are items, the rest
calibrations with two uses and two results), imports it as the view does, and prints both steps
with the peak resident memory of the process.

    python -m tests.bench.import_lines 1000000 lines
"""

from __future__ import annotations

import json
import random
import resource
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from api.resources.imports import _loaded
from api.services.imports.imports import import_source
from api.services.imports.lines import Lines, read_lines
from api.store import migrate
from api.store.database import Database
from api.web.json import loads

SEED = 20_251_125
START = datetime(2015, 1, 5, 8, tzinfo=UTC)


def lines(count: int) -> Iterator[dict[str, Any]]:
    """Items and calibrations; every instrument is calibrated with standards made before it."""
    items = count // 10
    for number in range(items):
        kind = "working_standard" if number < items // 100 + 2 else "customer_instrument"
        yield {"items": {"id": f"I-{number}", "kind": kind, "type": "load_cell"}}
    for number in range(count - items):
        at = START + timedelta(minutes=number * 5)
        uses = [{"item": f"I-{(number * 7 + n) % (items // 100 + 2)}"} for n in (0, 1)]
        item = number % items
        yield {
            "calibrations": {
                "certificate": f"C-{number:07d}",
                "item": f"I-{item}",
                "performed_at": at.isoformat(),
                "customer": f"Customer {number % 500}",
                "uses": [
                    {**use, "role": "force_reference", "weight": "0.5"}
                    for use in uses
                    if int(use["item"][2:]) < item
                ],
                "results": [result(number, point) for point in (1, 2)],
            }
        }


def result(number: int, point: int) -> dict[str, Any]:
    """One result in kN."""
    error = f"0.{number * point % 9:03d}"
    return {
        "point": point,
        "applied": str(point * 10),
        "error": error,
        "U": "0.002",
        "k": "2",
        "unit": "kN",
        "tolerance": "0.010",
        "rule": "guard_U",
    }


def peak() -> str:
    """Peak resident memory of this process so far."""
    return f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB at most"


def write(file: Path, count: int) -> None:
    """Write the lines in an order that no reader would choose."""
    texts = [json.dumps(line) for line in lines(count)]
    random.Random(SEED).shuffle(texts)
    with file.open("w") as target:
        target.writelines(f"{text}\n" for text in texts)


def main() -> None:
    """Write the file in one process, import it in another, so that only the import is measured."""
    count, folder = int(sys.argv[1]), Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / f"lines-{count}.ndjson"
    if not file.exists():
        write(file, count)
        print(f"{file}: {file.stat().st_size >> 20} MiB written; run it again to import")
        return
    (folder / "lines.db").unlink(missing_ok=True)
    database = Database(f"sqlite:///{folder / 'lines.db'}")
    migrate.upgrade(database)
    print(f"start: {peak()}")
    began = time.perf_counter()
    with Lines() as read:
        with file.open("rb") as source:
            read_lines(source, read, loads, _loaded)
        print(f"read and checked in {time.perf_counter() - began:.1f} s, {peak()}", flush=True)
        began = time.perf_counter()
        with database.write() as session:
            counts = import_source(session, read, time.time_ns() // 1000)
    print(f"written in {time.perf_counter() - began:.1f} s, {peak()}: {counts['created']}")


if __name__ == "__main__":
    main()
