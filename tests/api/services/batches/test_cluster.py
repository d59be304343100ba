"""What a cluster can go wrong with, said in words; a cluster in this process does the work.

The answer of the same function without a cluster is the measure; that it is right is settled in
the tests of the batch. Lost workers and files that they do not see are in
tests/whole/test_batch_on_cluster.py.
"""

from __future__ import annotations

import sys
from contextlib import contextmanager

import pytest

from api.errors import InvalidRecord
from api.schemas.batches import row_fault
from api.services.batches import cluster
from api.services.batches.cluster import ClusterError, decided_on_cluster
from api.services.batches.parts import Job, decide_part
from api.version import VERSION

distributed = pytest.importorskip("distributed")

HEADING = "id,value,U,upper,rule\n"


@pytest.fixture
def jobs(tmp_path):
    """Three parts: one result each, of which the second fails by its guard band."""

    def made(name: str, rows: str) -> Job:
        part = tmp_path / f"{name}.csv"
        part.write_text(HEADING + rows)
        target = str(tmp_path / f"decided-{name}.csv")
        return Job(VERSION, str(part), f"{name}.csv", target, [], None, False, False, True)

    # 2 - 0.1 = 1.9
    rows = ["a,1,0.1,2,guard_U\n", "b,1.95,0.1,2,guard_U\n", "c,ten,0.1,2,guard_U\n"]
    return [made(f"p{place}", row) for place, row in enumerate(rows)]


@contextmanager
def running(workers: int):
    """Address of a cluster in this process."""
    with distributed.LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=False, dashboard_address=":0"
    ) as made:
        yield made.scheduler_address


def test_parts_come_back_in_their_order_and_are_on_disk(jobs, tmp_path):
    alone = [decide_part(job, row_fault) for job in jobs]
    written = {path.name: path.read_bytes() for path in tmp_path.glob("decided-*")}
    assert len(written) == len(jobs)
    for path in tmp_path.glob("decided-*"):
        path.unlink()
    with running(1) as address:
        done = list(decided_on_cluster(address, jobs, row_fault))
    assert done == alone
    assert [one.summary["by_verdict"]["pass"] for one in done] == [1, 0, 0]
    assert [one.summary["refused"] for one in done] == [0, 0, 1]
    assert {path.name: path.read_bytes() for path in tmp_path.glob("decided-*")} == written


def test_a_part_that_cannot_be_read_is_refused_by_its_name(jobs, tmp_path):
    (tmp_path / "p1.csv").write_text("id,verdict\n")
    with running(1) as address:
        answers = decided_on_cluster(address, jobs, row_fault)
        assert next(answers).summary["rows"] == 1
        with pytest.raises(InvalidRecord, match=r"p1\.csv: The columns cannot be used"):
            next(answers)


def test_a_file_that_the_workers_do_not_see_says_that_paths_must_be_the_same(jobs, tmp_path):
    (tmp_path / "p0.csv").unlink()
    with (
        running(1) as address,
        pytest.raises(ClusterError, match=r"p0\.csv: .*workers must see the files under the same"),
    ):
        list(decided_on_cluster(address, jobs, row_fault))


def test_a_scheduler_without_workers_is_not_waited_for_without_end(jobs, monkeypatch):
    monkeypatch.setattr(cluster, "PATIENCE_S", 0.2)
    with (
        running(0) as address,
        pytest.raises(ClusterError, match="has no workers"),
    ):
        next(decided_on_cluster(address, jobs, row_fault))


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "nonsense://here", "inproc://1/2/3"])
def test_an_address_without_a_scheduler_is_named(jobs, monkeypatch, address):
    monkeypatch.setattr(cluster, "PATIENCE_S", 0.2)
    with pytest.raises(ClusterError, match=f"no Dask scheduler answers at {address}"):
        next(decided_on_cluster(address, jobs, row_fault))


def test_without_the_extra_the_command_that_installs_it_is_said(jobs, monkeypatch):
    # None in sys.modules makes an import fail as if the module were not there (Python, import).
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ClusterError, match=r"pip install 'tracehold\[dask\]'"):
        next(decided_on_cluster("tcp://127.0.0.1:1", jobs, row_fault))
