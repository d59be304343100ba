"""What a server does beside its requests: recalls that wait are compared with fresh ones.

Choice: a thread looks every two seconds whether a recall waits, and begins a process of its own for
the work, since a recall of a large laboratory would hold up every request of the process in which
it is worked out. The process ends when nothing has waited for a while, and with the server,
however that ends: it reads from a pipe that the server holds open. Of several servers on one
database one does it for all (``api.store.leases``).
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import threading
import time

from sqlalchemy.exc import DBAPIError

from api.services.recalls.rechecking import LEASE_US, WORK, is_waiting
from api.store import leases
from api.store.database import Database

LOOK_S = 2.0
END_S = 5.0
COMMAND = ("-m", "api", "recalls", "check", "--for-server")
log = logging.getLogger(__name__)


class Background:
    """The work beside the requests of one server process; `stop` ends it."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._ending = threading.Event()
        self._process: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._run, name="background", daemon=True)

    def start(self) -> None:
        """Begin to look for work."""
        self._thread.start()

    def stop(self) -> None:
        """End the work; what was not stored is done again later."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(END_S)
        if self._process is not None and self._process.stdin is not None:
            self._process.stdin.close()
            try:
                self._process.wait(END_S)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()

    def look(self) -> None:
        """Begin a process if a recall waits and nobody is at work."""
        if self._process is not None and self._process.poll() is None:
            return
        now_us = time.time_ns() // 1000
        if is_waiting(self._database) and leases.is_free(self._database, WORK, now_us, LEASE_US):
            self._process = subprocess.Popen(
                [sys.executable, *COMMAND],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                env={**os.environ, "TRACEHOLD_DATABASE_URL": self._database.url},
            )

    def _run(self) -> None:
        while not self._ending.wait(LOOK_S):
            try:
                self.look()
            except (DBAPIError, OSError):
                log.warning("recalls could not be looked after; next try soon", exc_info=True)
