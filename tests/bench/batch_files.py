"""How fast files are decided, against reading and writing alone, and over HTTP against files.

    python -m tests.bench.batch_files --rows 1000000 --rounds 7

Floors: polars reads the CSV and writes the columns of the answer, which it has; pyarrow does so for
Parquet, with its defaults and without dictionaries for columns that do not repeat. Goals: 1.5 times
the floor for CSV and for Parquet, 8 times as fast as pandas that reads, calculates in float columns
and writes; the HTTP batch, on a server of its own process, within 2 times of the file.

Memory: /usr/bin/time -v tracehold evaluate results.csv -o decided.csv --rule guard_U
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pyarrow.parquet as pq
import requests
from scipy.special import ndtr

from api.rules.rule import BUILT_IN
from api.schemas.batches import row_fault
from api.services.batches.batches import Batch, Deciding
from api.services.batches.formats import kind_of, read_pieces, writer_of
from tests.bench.results import interleaved, show, write

RULE = "guard_U"
TEXTS = ("id", "point", "unit")


def ours(source: Path, target: Path) -> None:
    kind = kind_of(source.suffix)
    deciding = Deciding(row_fault, BUILT_IN, BUILT_IN[RULE])
    with source.open("rb") as read, target.open("wb") as written:
        for part in Batch(read_pieces(read, kind, kind), deciding, writer_of(kind)):
            written.write(part)


def plain_pandas(source: Path, target: Path) -> None:
    frame = pd.read_csv(source, dtype=dict.fromkeys(TEXTS, str))
    u = frame["U"] / frame["k"]
    frame["acceptance_lower"] = frame["lower"] + frame["U"]
    frame["acceptance_upper"] = frame["upper"] - frame["U"]
    accepted = frame["value"].between(frame["acceptance_lower"], frame["acceptance_upper"])
    frame["verdict"] = np.where(accepted, "pass", "fail")
    risk = ndtr((frame["lower"] - frame["value"]) / u) + ndtr((frame["value"] - frame["upper"]) / u)
    frame["conformance_probability"], frame["specific_risk"] = 1.0 - risk, risk
    frame.to_csv(target, index=False)


def over_http(address: str, key: str, source: Path, target: Path) -> None:
    kind = kind_of(source.suffix)
    headers = {"Content-Type": kind.media_types[0], "Authorization": f"Bearer {key}"}
    url = f"{address}/v1/batches?rule={RULE}"
    with (
        source.open("rb") as body,
        requests.post(url, body, headers=headers, stream=True, timeout=600) as answer,
        target.open("wb") as written,
    ):
        answer.raise_for_status()
        for part in answer.iter_content(1 << 20):
            written.write(part)


@contextmanager
def serving(folder: Path) -> Iterator[tuple[str, str]]:
    """A server in a process of its own, as `tracehold serve` starts it; yields address and key."""
    environment = {**os.environ, "TRACEHOLD_DATABASE_URL": f"sqlite:///{folder}/bench.db"}
    command = [sys.executable, "-m", "api"]
    subprocess.run([*command, "migrate"], env=environment, check=True, capture_output=True)
    keys = [*command, "keys", "create", "--name", "bench", "--scopes", "decide"]
    made = subprocess.run(keys, env=environment, check=True, capture_output=True, text=True)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen(
        [*command, "serve", "--port", str(port)], env=environment, stderr=subprocess.DEVNULL
    )
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(100):
            try:
                requests.get(f"{address}/healthz", timeout=1)
                break
            except requests.ConnectionError:
                time.sleep(0.1)
        yield address, made.stdout.split()[-1]
    finally:
        server.terminate()
        server.wait()


def measure(folder: Path, rows: int, rounds: int) -> None:
    csv, parquet = folder / "in.csv", folder / "in.parquet"
    write(rows, csv)
    write(rows, parquet)
    target = folder / "out"
    ours(csv, target)
    kinds = dict.fromkeys((*TEXTS, "error_field", "error"), pl.String)
    answer = pl.read_csv(target, schema_overrides=kinds)
    ours(parquet, target)
    columns = pq.read_table(target)
    repeated = ["point", "unit", "k", "verdict"]
    with serving(folder) as (address, key):
        print(f"CSV, {rows} rows, {csv.stat().st_size >> 20} MiB in")
        ways = {
            "polars reads, writes the answer's columns": lambda: (
                pl.read_csv(csv),
                answer.write_csv(target),
            ),
            "polars reads and writes what came in": lambda: pl.read_csv(csv).write_csv(target),
            "decided, file to file": lambda: ours(csv, target),
            "decided over HTTP": lambda: over_http(address, key, csv, target),
            "plain pandas": lambda: plain_pandas(csv, target),
        }
        show(interleaved(ways, rounds), rows, "polars reads, writes the answer's columns")
        print(f"Parquet, {rows} rows, {parquet.stat().st_size >> 20} MiB in")
        ways = {
            "pyarrow reads, writes the answer's columns": lambda: (
                pq.read_table(parquet),
                pq.write_table(columns, target),
            ),
            "the same, dictionaries only where they help": lambda: (
                pq.read_table(parquet),
                pq.write_table(columns, target, use_dictionary=repeated),
            ),
            "decided, file to file": lambda: ours(parquet, target),
            "decided over HTTP": lambda: over_http(address, key, parquet, target),
        }
        show(interleaved(ways, rounds), rows, "pyarrow reads, writes the answer's columns")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=7)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        measure(Path(made), given.rows, given.rounds)
