"""Results for measuring: seeded rows of a laboratory's sheet, and how to time several ways.

    python -m tests.bench.results 10000000 results.csv      (or .parquet)

The numbers have six places; each result has limits, U, k and a unit, and an id with leading zeros.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import polars as pl
import pyarrow.parquet as pq

SEED = 3
_LOT = 500_000


def sheet(rows: int, start: int = 0) -> pl.DataFrame:
    """Rows with their columns of floats; `start` is the number of the first."""
    draw = np.random.default_rng(SEED + start)
    nominal = draw.choice([1.0, 10.0, 100.0], rows)
    tolerance = nominal * draw.choice([1e-3, 5e-4], rows)
    U = tolerance * draw.uniform(0.05, 0.6, rows)
    numbers = {
        "value": nominal + draw.normal(0, tolerance / 2),
        "U": U,
        "k": np.full(rows, 2.0),
        "lower": nominal - tolerance,
        "upper": nominal + tolerance,
    }
    return pl.DataFrame(
        {
            "id": [f"{start + row:08d}" for row in range(rows)],
            "point": [f"P{row % 20:02d}" for row in range(rows)],
            "unit": ["kN"] * rows,
            **{name: column.round(6) for name, column in numbers.items()},
        }
    )


def write(rows: int, path: Path) -> None:
    """Write a sheet of any length, lot by lot."""
    with path.open("wb") as target:
        writer = None
        for start in range(0, rows, _LOT):
            lot = sheet(min(_LOT, rows - start), start)
            if path.suffix == ".csv":
                lot.write_csv(target, include_header=not start, float_precision=6)
                continue
            table = lot.to_arrow(compat_level=pl.CompatLevel.oldest())
            writer = writer or pq.ParquetWriter(target, table.schema)
            writer.write_table(table)
        if writer is not None:
            writer.close()


def interleaved(ways: Mapping[str, Callable[[], object]], rounds: int) -> dict[str, list[float]]:
    """Seconds of each way, run in turn after one round that does not count."""
    found: dict[str, list[float]] = {name: [] for name in ways}
    for number in range(rounds + 1):
        for name, way in ways.items():
            begin = time.perf_counter()
            way()
            if number:
                found[name].append(time.perf_counter() - begin)
    return found


def show(found: Mapping[str, list[float]], rows: int, floor: str) -> None:
    """Print medians, and the median of the ratios to a floor, round by round."""
    for name, seconds in found.items():
        ratios = [one / other for one, other in zip(seconds, found[floor], strict=True)]
        time_each = 1e9 * statistics.median(seconds) / rows
        print(f"  {name:46s} {time_each:10.1f} ns/row {statistics.median(ratios):8.3f} x")


if __name__ == "__main__":
    write(int(sys.argv[1]), Path(sys.argv[2]))
