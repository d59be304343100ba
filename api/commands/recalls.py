"""Commands about stored recalls that work on the database itself."""

from __future__ import annotations

import os
import threading
import time
import uuid
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from api.commands.local import opened
from api.commands.output import say

if TYPE_CHECKING:
    from api.store.database import Database

# A process that a server began ends when nothing has waited for so long; it looks every second.
IDLE_S, LOOK_S = 15.0, 1.0


@click.group()
def recalls() -> None:
    """Compare stored recalls with today's records."""


@recalls.command("check")
@click.option(
    "--every",
    type=click.FloatRange(min=0.1),
    metavar="SECONDS",
    help="Go on until interrupted, looking again after so many seconds; default: once.",
)
@click.option(
    "--for-server",
    is_flag=True,
    hidden=True,
    help="End with stdin, or when nothing has waited for a while: how a server begins it.",
)
def check(every: float | None, for_server: bool) -> None:
    """Compare every recall that says "checking" with a fresh one, and store what comes of it.

    A server does this by itself, unless TRACEHOLD_CHECK_RECALLS is no; then it is for a cron job or
    a service.
    """
    with opened() as database:
        if for_server:
            _for_server(database)
            return
        while True:
            for number, flag in _checked(database, str(uuid.uuid4())):
                word = "still checking" if flag is None else "stale" if flag else "as it was"
                say(f"Recall {number}: {word}.")
            if every is None:
                return
            time.sleep(every)


def _for_server(database: Database) -> None:
    """Compare what waits, and what comes meanwhile; end with the server, or when idle for long."""
    if hasattr(os, "nice"):
        os.nice(5)  # requests come first
    threading.Thread(target=_end_with_parent, daemon=True).start()
    holder, last = str(uuid.uuid4()), time.monotonic()
    while time.monotonic() - last < IDLE_S:
        for _ in _checked(database, holder):
            last = time.monotonic()
        time.sleep(LOOK_S)


def _end_with_parent() -> None:
    """Wait for the end of stdin, which the server holds open as long as it lives."""
    while os.read(0, 1):  # not by the buffer of sys.stdin, whose lock would hinder a regular end
        pass
    os._exit(0)  # a transaction that is open now is rolled back


def _checked(database: Database, holder: str) -> Iterator[tuple[str, bool | None]]:
    """Compare what waits, if nobody else does; yields the number of each recall, and its flag."""
    from api.services.recalls import rechecking

    yield from rechecking.recheck_leased(database, holder, lambda: time.time_ns() // 1000)
