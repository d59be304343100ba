"""A server compares recalls that wait beside its requests, in a process that ends with it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import requests
from oracle_cases import OPEN, answered, cal, lab, ref

from api import background
from api.background import Background
from api.services.recalls import rechecking
from api.store import leases

ROOT = Path(__file__).parents[2]
FAULT = {"item": "REF", "kind": "true_force_relative_error", "delta_rel": "-0.0005"} | OPEN
LABORATORY = lab(cal("W-1", "WS", "01-10", [ref("REF")]), cal("C-1", "A", "02-01", [ref("WS")]))
LATE = answered(cal("C-2", "A", "05-01", [ref("WS")]))
PATIENCE_S = 60


def until(ready):
    deadline = time.monotonic() + PATIENCE_S
    while not ready():
        assert time.monotonic() < deadline, "it did not come about"
        time.sleep(0.2)


@pytest.mark.slow
def test_a_served_recall_is_compared_within_a_minute_and_nothing_is_left_running(
    database_url, keys
):
    command = [sys.executable, "-m", "api", "serve", "--port", "0"]
    environment = {**os.environ, "TRACEHOLD_DATABASE_URL": database_url}
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stderr=subprocess.PIPE, text=True
    ) as served:
        assert served.stderr is not None
        line = next(one for one in served.stderr if "http://" in one)
        base = line[line.index("http://") :].split()[0]
        session = requests.Session()
        session.headers.update(keys.headers())
        for path, body in (("imports", LABORATORY), ("recalls", {"fault": FAULT})):
            assert session.post(f"{base}/v1/{path}", json=body, timeout=60).status_code == 201
        assert session.post(f"{base}/v1/calibrations", json=LATE, timeout=60).status_code == 201
        address = f"{base}/v1/recalls/1"
        until(lambda: session.get(address, timeout=60).json()["stale"] is True)
        children = children_of(served.pid)
        served.send_signal(signal.SIGTERM)
        served.communicate(timeout=60)
        assert served.returncode == 0
    until(lambda: not any(map(is_running, children)))


def children_of(pid):
    listed = Path(f"/proc/{pid}/task/{pid}/children")
    tasks = Path(f"/proc/{pid}/task")
    if not listed.exists():
        return []
    found = [text for task in tasks.iterdir() for text in (task / "children").read_text().split()]
    return [int(one) for one in found]


def is_running(pid):
    try:
        return "Z" not in Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[:1]
    except FileNotFoundError:
        return False


@pytest.fixture
def begun(monkeypatch):
    """Commands that would have been begun."""
    found = []

    class Process:
        stdin = None

        def __init__(self, command, **more):
            found.append((command, more["env"]["TRACEHOLD_DATABASE_URL"]))

        def poll(self):
            return None

    monkeypatch.setattr(background.subprocess, "Popen", Process)
    return found


def test_a_process_is_begun_where_something_waits_and_nobody_is_at_work(client, database, begun):
    work = Background(database)
    work.look()
    assert begun == []
    client.post("/v1/imports", json=LABORATORY)
    client.post("/v1/recalls", json={"fault": FAULT})
    client.post("/v1/calibrations", json=LATE)
    now_us = time.time_ns() // 1000
    assert leases.take(database, rechecking.WORK, "another", now_us, rechecking.LEASE_US)
    work.look()
    assert begun == []
    leases.release(database, rechecking.WORK, "another")
    work.look()
    work.look()  # the first one still runs
    assert [url for _, url in begun] == [database.url]
    assert begun[0][0][1:] == list(background.COMMAND)
