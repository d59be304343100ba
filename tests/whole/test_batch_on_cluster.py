"""A batch in parts on a real cluster: a scheduler and two worker processes, one of which is killed.

The single machine's answer is the measure: one file, byte for byte. That it is right is settled in
the tests of the batch itself.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import polars as pl
import pytest

pytest.importorskip("distributed")

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60
# Names whose order as text is another one.
PARTS, ROWS, WRONG = (1, 2, 9, 10, 11, 20), 15_000, 7
UNDECIDED = 5  # the exit code of a batch in which some row is wrong


def environment() -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("TRACEHOLD_")}
    return {**kept, "PYTHONPATH": str(ROOT), "COLUMNS": "120"}


def started(folder: Path, *arguments: str) -> subprocess.Popen[bytes]:
    with (folder / f"{len(list(folder.iterdir()))}.log").open("wb") as log:
        command = [sys.executable, "-m", "dask", *arguments, "--no-dashboard"]
        return subprocess.Popen(command, cwd=folder, env=environment(), stdout=log, stderr=log)


@contextmanager
def running(folder: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Address of a scheduler, and its two workers."""
    file = folder / "scheduler.json"
    scheduler = started(folder, "scheduler", "--port", "0", "--scheduler-file", str(file))
    more = ("--scheduler-file", str(file), "--nthreads", "1", "--no-nanny")
    workers = [started(folder, "worker", *more) for _ in range(2)]
    try:
        ends = time.monotonic() + PATIENCE_S
        while not file.exists():
            assert time.monotonic() < ends, "the scheduler did not start"
            time.sleep(0.1)
        yield json.loads(file.read_text())["address"], workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def cluster(tmp_path_factory) -> Iterator[str]:
    with running(tmp_path_factory.mktemp("cluster")) as (address, _):
        yield address


def part(number: int) -> pl.DataFrame:
    """Results of which one cannot be decided; thousandths spread over the limits."""
    places = range(ROWS)
    values = [f"{10 + ((place * 37 + number) % 61 - 30) / 1000:.3f}" for place in places]
    values[WRONG * number] = "ten"
    return pl.DataFrame(
        {"id": [f"{number}/{place}" for place in places], "value": values}
    ).with_columns(
        U=pl.lit("0.004"), lower=pl.lit("9.975"), upper=pl.lit("10.025"), unit=pl.lit("kN")
    )


@pytest.fixture(scope="module")
def parts(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("parts")
    for number in PARTS:
        part(number).write_parquet(folder / f"part-{number}.parquet")
        part(number).write_csv(folder / f"part-{number}.csv")
    return folder


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "api", "evaluate", *map(str, arguments), "--rule", "guard_U"]


def evaluate(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command(*arguments), env=environment(), cwd=ROOT, capture_output=True, text=True
    )


@pytest.mark.long
@pytest.mark.parametrize("ending", [".parquet", ".csv"])
def test_a_cluster_writes_the_file_that_one_machine_writes(cluster, parts, tmp_path, ending):
    pattern = parts / f"part-*{ending}"
    alone, shared = tmp_path / f"alone{ending}", tmp_path / f"shared{ending}"
    one = evaluate(pattern, "-o", alone)
    two = evaluate(pattern, "-o", shared, "--dask", cluster)
    assert (one.returncode, two.returncode) == (UNDECIDED, UNDECIDED), two.stderr
    assert shared.read_bytes() == alone.read_bytes()
    assert two.stderr == one.stderr
    assert f"{len(PARTS) * ROWS} rows" in two.stderr
    assert f"{len(PARTS)} not decided" in two.stderr
    assert sorted(tmp_path.iterdir()) == [alone, shared]


@pytest.mark.long
def test_the_rows_are_those_of_one_file_that_holds_all_parts(cluster, parts, tmp_path):
    whole, decided, shared = (tmp_path / f"{name}.parquet" for name in ("all", "one", "two"))
    pl.concat(map(part, PARTS)).write_parquet(whole)
    assert evaluate(whole, "-o", decided).returncode == UNDECIDED
    assert (
        evaluate(parts / "part-*.parquet", "-o", shared, "--dask", cluster).returncode == UNDECIDED
    )
    expected, found = pl.read_parquet(decided), pl.read_parquet(shared)
    wrong = found.filter(pl.col("error").is_not_null())
    assert wrong["error_file"].to_list() == [str(parts / f"part-{n}.parquet") for n in PARTS]
    assert wrong["error_line"].to_list() == [WRONG * number + 1 for number in PARTS]
    assert set(wrong["error_field"]) == {"value"}
    place = found.columns.index("error_file")
    assert found.columns[:place] + found.columns[place + 1 :] == expected.columns
    assert found.drop("error_file", "error_line").equals(expected.drop("error_line"))


@pytest.mark.long
def test_one_file_may_be_decided_elsewhere_and_looks_as_ever(cluster, parts, tmp_path):
    file = parts / "part-2.parquet"
    assert evaluate(file, "-o", tmp_path / "one.parquet").returncode == UNDECIDED
    assert evaluate(file, "-o", tmp_path / "two.parquet", "--dask", cluster).returncode == UNDECIDED
    assert (tmp_path / "two.parquet").read_bytes() == (tmp_path / "one.parquet").read_bytes()


@pytest.mark.long
def test_a_folder_gets_a_file_for_each_part(cluster, parts, tmp_path):
    pattern = parts / "part-*.csv"
    assert evaluate(pattern, "-o", tmp_path / "alone").returncode == UNDECIDED
    done = evaluate(pattern, "-o", tmp_path / "shared", "--dask", cluster)
    assert done.returncode == UNDECIDED, done.stderr
    for number in PARTS:
        name = f"part-{number}.csv"
        found = (tmp_path / "shared" / name).read_bytes()
        assert found == (tmp_path / "alone" / name).read_bytes()
        assert found.count(b"\n") == ROWS + 1
    assert len(list((tmp_path / "shared").iterdir())) == len(PARTS)


@pytest.mark.long
def test_a_part_that_cannot_be_read_ends_the_run_and_leaves_nothing(cluster, parts, tmp_path):
    for number, columns in ((1, ["id", "value", "U"]), (2, ["id", "value"])):
        part(number).select(columns).write_csv(tmp_path / f"part-{number}.csv")
    before = set(tmp_path.iterdir())
    done = evaluate(tmp_path / "part-*.csv", "-o", tmp_path / "out.csv", "--dask", cluster)
    assert done.returncode == 3
    assert "part-2.csv" in done.stderr
    assert "there is no column 'U'" in done.stderr
    assert set(tmp_path.iterdir()) == before


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL")
def test_the_loss_of_a_worker_changes_nothing(parts, tmp_path):
    pattern, alone, shared = (
        parts / "part-*.parquet",
        tmp_path / "a.parquet",
        tmp_path / "b.parquet",
    )
    assert evaluate(pattern, "-o", alone).returncode == UNDECIDED
    logs = tmp_path / "cluster"
    logs.mkdir()
    with running(logs) as (address, workers):
        asked = command(pattern, "-o", shared, "--dask", address)
        with subprocess.Popen(asked, cwd=ROOT, env=environment(), stderr=subprocess.PIPE) as run:
            ends = time.monotonic() + PATIENCE_S
            while not list(tmp_path.glob(".b.parquet.*.parts/*.parquet")):
                assert time.monotonic() < ends, "no part was decided"
                time.sleep(0.005)
            workers[0].send_signal(signal.SIGKILL)
            _, said = run.communicate(timeout=PATIENCE_S)
        assert run.returncode == UNDECIDED, said
        assert workers[0].wait() == -signal.SIGKILL
        assert workers[1].poll() is None
    assert shared.read_bytes() == alone.read_bytes()
    assert f"{len(PARTS) * ROWS} rows".encode() in said
    assert list(tmp_path.glob(".b.parquet.*")) == []  # what the lost worker left is gone
