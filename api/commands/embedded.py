"""A server in a thread of this process, for the demonstration and for tests over real HTTP."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread
from typing import Any

from flask import Flask
from waitress import wasyncore
from waitress.server import create_server


@contextmanager
def serving(app: Flask) -> Iterator[str]:
    """Serve an application on a free port of 127.0.0.1; yields the address."""
    sockets: dict[int, Any] = {}
    ending = Event()
    server = create_server(app, map=sockets, host="127.0.0.1", port=0, threads=4)

    def run() -> None:
        # Not server.run(), which can be ended from the main thread only.
        while not ending.is_set():
            wasyncore.loop(timeout=1, map=sockets, count=1)

    thread = Thread(target=run, name="embedded server", daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}"
    finally:
        ending.set()
        server.pull_trigger()
        thread.join()
        server.task_dispatcher.shutdown()
        wasyncore.close_all(sockets)
