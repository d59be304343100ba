"""Servers in processes of their own, and a private PostgreSQL, all of which may be killed."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import requests

ROOT = Path(__file__).resolve().parents[2]
START_S = 60


def free_port() -> int:
    """A port of this machine that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


class Server:
    """One `tracehold serve` process, always on the same port; what it logs is added to a file."""

    def __init__(self, url: str, threads: int, log: Path) -> None:
        self.port = free_port()
        self.base = f"http://127.0.0.1:{self.port}"
        self._environment = {**os.environ, "TRACEHOLD_DATABASE_URL": url, "PYTHONPATH": str(ROOT)}
        self._threads = threads
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start the process and wait until it listens."""
        command = [sys.executable, "-m", "api", "serve", "--port", str(self.port)]
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [*command, "--threads", str(self._threads)],
                env=self._environment,
                cwd=ROOT,
                stdout=subprocess.DEVNULL,
                stderr=log,
            )
        deadline = time.monotonic() + START_S
        while time.monotonic() < deadline:
            try:
                requests.get(f"{self.base}/healthz", timeout=5)
                return
            except requests.RequestException:
                if self._process.poll() is not None:  # the database is down: it refuses to start
                    time.sleep(0.2)
                    return self.start()
                time.sleep(0.05)
        raise RuntimeError("the server did not start")

    def kill(self) -> None:
        """SIGKILL: no handler runs, nothing is flushed."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    def stop(self) -> None:
        """SIGTERM, then SIGKILL."""
        if self._process is not None:
            self._process.terminate()
            try:
                self._process.wait(20)
            except subprocess.TimeoutExpired:
                self.kill()


@contextmanager
def servers(url: str, count: int, threads: int, log: Path) -> Iterator[list[Server]]:
    """So many servers on one database, with one log."""
    made = [Server(url, threads, log) for _ in range(count)]
    try:
        for one in made:
            one.start()
        yield made
    finally:
        for one in made:
            one.stop()


class Postgres:
    """A PostgreSQL of our own in a temporary folder; every commit waits for the disk."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self.url = f"postgresql://tracehold@127.0.0.1:{self.port}/postgres"

    def create(self) -> None:
        """Make its files."""
        self._as_postgres("initdb", "-U", "tracehold", "-A", "trust", "-D", str(self.folder))

    def start(self) -> None:
        """Start it and wait until it answers; after a kill it recovers first."""
        options = f"-p {self.port} -k {self.folder} -h 127.0.0.1"
        deadline = time.monotonic() + START_S
        while True:
            try:
                self._as_postgres(
                    *("pg_ctl", "-D", str(self.folder), "-o", options, "-w"),
                    *("-l", str(self.folder / "log"), "start"),
                )
                return
            except subprocess.CalledProcessError:  # those of the killed one are not yet gone
                if time.monotonic() > deadline:
                    raise
                time.sleep(0.2)

    def kill(self) -> None:
        """SIGKILL to its first process; the others notice and leave."""
        first = (self.folder / "postmaster.pid").read_text().split("\n", 1)[0]
        os.kill(int(first), signal.SIGKILL)

    def stop(self) -> None:
        """Stop it at once."""
        command = ("pg_ctl", "-D", str(self.folder), "-m", "immediate", "stop")
        self._as_postgres(*command)

    def _as_postgres(self, program: str, *arguments: str) -> None:
        command = [str(Path(programs() or "") / program), *arguments]
        if os.getuid() == 0:  # it refuses to run as the administrator
            command = ["runuser", "-u", "postgres", "--", *command]
        subprocess.run(command, check=True, capture_output=True, cwd="/")


def programs() -> Path | None:
    """Folder of PostgreSQL's programs, None if it is not installed."""
    found = shutil.which("initdb")
    if found is not None:
        return Path(found).parent
    installed = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return installed[-1].parent if installed else None


@contextmanager
def postgres() -> Iterator[Postgres]:
    """A running PostgreSQL of our own; its files are deleted at the end."""
    with tempfile.TemporaryDirectory(prefix="tracehold-") as folder:
        if os.getuid() == 0:
            shutil.chown(folder, "postgres")
        made = Postgres(Path(folder) / "data")
        made.create()
        made.start()
        try:
            yield made
        finally:
            made.stop()


def killing(
    targets: list[Server | Postgres], every: tuple[float, float], kills: int, seed: int
) -> threading.Thread:
    """Kill a target, chosen by chance, so many times at random moments, and start it again."""
    import random

    dice = random.Random(seed)

    def work() -> None:
        for _ in range(kills):
            time.sleep(dice.uniform(*every))
            target = dice.choice(targets)
            target.kill()
            target.start()

    return threading.Thread(target=work, daemon=True)
