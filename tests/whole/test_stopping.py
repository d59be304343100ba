"""A server that is told to stop finishes what runs, refuses what is new, and ends in time.

Real processes: `tracehold serve`, and gunicorn with the settings that ship with it. That a request
runs while the signal comes is no matter of luck: its client holds back the last byte of the body,
or does not read on, until the server has stopped listening.
"""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest
import requests

ROOT = Path(__file__).parents[2]
ROWS = 200_000
BATCH = b"value,U,upper\n" + b"1,0.1,2\n" * ROWS
ITEM = json.dumps({"id": "REF-1", "kind": "reference_standard"}).encode()
FAULT = {
    **{"item": "REF-1", "kind": "unknown"},
    **{"last_good_at": "2024-01-01T00:00:00Z", "isolated_at": "2024-06-01T00:00:00Z"},
}
SERVE = [sys.executable, "-m", "api", "serve", "--port", "0"]
GUNICORN = [
    *(sys.executable, "-m", "gunicorn", "-c", "python:api.gunicorn_conf"),
    *("-b", "127.0.0.1:0", "-w", "2"),
]


@dataclass
class Served:
    """A server in a process of its own."""

    process: subprocess.Popen[str]
    port: int
    token: str

    @property
    def headers(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.token}"}

    def at(self, path: str) -> str:
        return f"http://127.0.0.1:{self.port}{path}"

    def stop(self) -> None:
        """Send the signal, and wait until nothing is listened to any more."""
        self.process.send_signal(signal.SIGTERM)
        until = time.monotonic() + 20
        while time.monotonic() < until:
            try:
                # One that still waited to be accepted when listening ended is reset.
                with suppress(ConnectionResetError):
                    socket.create_connection(("127.0.0.1", self.port), 1).close()
            except ConnectionRefusedError:
                return
            time.sleep(0.02)
        raise AssertionError("it goes on listening")


@contextmanager
def served(command: list[str], url: str, token: str, **settings: str) -> Iterator[Served]:
    clean = {k: v for k, v in os.environ.items() if not k.startswith("TRACEHOLD")}
    process = subprocess.Popen(
        command,
        cwd=ROOT,
        env=clean | {"TRACEHOLD_DATABASE_URL": url} | settings,
        stderr=subprocess.PIPE,
        text=True,
    )
    with process:
        try:
            yield Served(process, port_of(process), token)
        finally:
            process.kill()


def port_of(process: subprocess.Popen[str]) -> int:
    """Port of a server that answers, as its log tells it."""
    assert process.stderr is not None
    told = (re.search(r"http://127\.0\.0\.1:(\d+)", line) for line in process.stderr)
    port = int(next(found for found in told if found)[1])
    until = time.monotonic() + 60
    while time.monotonic() < until:
        with suppress(requests.RequestException):
            if requests.get(f"http://127.0.0.1:{port}/readyz", timeout=30).ok:
                return port
        time.sleep(0.1)
    raise AssertionError("the server does not get ready")


@contextmanager
def begun(server: Served, path: str, body: bytes) -> Iterator[socket.socket]:
    """A request of which all but the last byte was sent."""
    head = [f"POST {path} HTTP/1.1", "Host: localhost", "Content-Type: application/json"]
    head += [f"{name}: {value}" for name, value in server.headers.items()]
    head += [f"Content-Length: {len(body)}", "Connection: close", "", ""]
    with socket.create_connection(("127.0.0.1", server.port), 60) as connection:
        connection.sendall("\r\n".join(head).encode() + body[:-1])
        yield connection


def rest(connection: socket.socket) -> str:
    parts = iter(lambda: connection.recv(65536), b"")
    return b"".join(parts).decode()


@contextmanager
def streaming(server: Served) -> Iterator[requests.Response]:
    """A batch whose answer is begun and not read on."""
    headers = server.headers | {"Content-Type": "text/csv"}
    path = server.at("/v1/batches?rule=simple&summary=line")
    with requests.post(path, data=BATCH, headers=headers, stream=True, timeout=60) as answer:
        assert answer.status_code == 200
        yield answer


@pytest.fixture
def token(keys) -> str:
    return keys.token()


@pytest.mark.slow
def test_a_stream_and_a_recall_that_run_are_finished_and_new_requests_refused(database_url, token):
    with served(SERVE, database_url, token) as server:
        idle = requests.Session()
        sent = idle.post(
            server.at("/v1/items"),
            data=ITEM,
            headers=server.headers | {"Content-Type": "application/json"},
        )
        assert sent.status_code == 201
        fault = json.dumps({"fault": FAULT}).encode()
        with streaming(server) as batch, begun(server, "/v1/recalls", fault) as recall:
            time.sleep(0.2)  # let it read what was sent
            server.stop()
            assert server.process.poll() is None
            recall.sendall(fault[-1:])
            assert rest(recall).startswith("HTTP/1.1 201 ")
            text = b"".join(batch.iter_content(1 << 16)).decode()
        began = time.monotonic()
        assert server.process.wait(30) == 0
        assert time.monotonic() - began < 10
        assert text.count("\n") == ROWS + 2
        assert f'"decided": {ROWS}' in text.splitlines()[-1]
        with pytest.raises(requests.ConnectionError):
            idle.get(server.at("/healthz"), timeout=5)


@pytest.mark.slow
def test_what_does_not_finish_in_time_is_cut_off_and_said(database_url, token):
    with served(SERVE, database_url, token, TRACEHOLD_STOP_SECONDS="1") as server:
        with streaming(server):
            began = time.monotonic()
            server.stop()
            assert server.process.wait(30) == 3
            assert 0.8 < time.monotonic() - began < 15
        assert "1 request(s) had not finished in time" in server.process.stderr.read()


@pytest.mark.slow
def test_a_second_signal_ends_it_at_once(database_url, token):
    settings = {"TRACEHOLD_STOP_SECONDS": "600"}
    with served(SERVE, database_url, token, **settings) as server, streaming(server):
        server.stop()
        server.process.send_signal(signal.SIGINT)
        assert server.process.wait(30) == 3


@pytest.mark.slow
def test_a_server_without_requests_ends_at_once(database_url, token):
    with served(SERVE, database_url, token) as server:
        began = time.monotonic()
        server.process.send_signal(signal.SIGTERM)
        assert server.process.wait(30) == 0
        assert time.monotonic() - began < 10


@pytest.mark.slow
def test_a_proxys_headers_reach_the_application(database_url, token):
    with served(SERVE, database_url, token) as server:
        assert requests.get(server.at("/metrics"), timeout=30).status_code == 200
        passed_on = {"X-Forwarded-For": "127.0.0.1"}
        assert requests.get(server.at("/metrics"), headers=passed_on, timeout=30).status_code == 401


def test_gunicorn_refuses_too_long_a_line_or_header_with_a_problem(database_url, token):
    # RFC 9457; 414 is RFC 9110, 15.5.15, and 431 RFC 6585, 5. Its own limits are 4094 and 8190.
    with served(GUNICORN, database_url, token) as server:
        long = {414: ("/v1/items?q=" + "x" * 5000, {}), 431: ("/v1/items", {"X-Long": "x" * 9000})}
        for status, (path, headers) in long.items():
            answer = requests.get(server.at(path), headers=headers, timeout=30)
            assert answer.status_code == status
            assert answer.headers["Content-Type"] == "application/problem+json"
            problem = answer.json()
            assert problem["status"] == status
            assert problem["type"] == "about:blank"
            assert problem["title"]


@pytest.mark.slow
def test_gunicorn_finishes_a_stream_and_its_workers_count_together(database_url, token):
    with served(GUNICORN, database_url, token) as server:
        for _ in range(20):
            # Each on a connection of its own, so that both workers get some.
            assert requests.get(server.at("/v1/items"), headers=server.headers, timeout=60).ok
        counted = requests.get(server.at("/metrics"), timeout=60).text
        labels = 'method="GET",route="/v1/items",status="200"'
        assert f"tracehold_requests_total{{{labels}}} 20.0" in counted
        assert "tracehold_journal_position" in counted
        with streaming(server) as batch:
            # Workers hold the listening socket to their end: a new connection waits and is lost.
            server.process.send_signal(signal.SIGTERM)
            time.sleep(2)
            assert server.process.poll() is None
            text = b"".join(batch.iter_content(1 << 16)).decode()
        assert server.process.wait(40) == 0
        with pytest.raises(requests.ConnectionError):
            requests.get(server.at("/healthz"), timeout=5)
        assert text.count("\n") == ROWS + 2
        lines = [line for line in server.process.stderr.read().splitlines() if line]
        assert {"logger", "message", "level"} <= set(json.loads(lines[-1]))
