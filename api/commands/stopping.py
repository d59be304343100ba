"""The embedded server, and how it ends: running requests finish, new ones are refused.

On SIGTERM, SIGINT (Ctrl-C) or, on Windows, Ctrl-Break: the listening sockets close at once, so that
a new connection is refused; idle connections close; requests that run or are being received go on,
and their answers are sent, streams too. When none is left, or the time is over, it ends. A second
signal ends it at once.

waitress itself stops sending when it is told to stop, so its loop is run here.
"""

from __future__ import annotations

import signal
import time
from typing import Any

from flask import Flask
from waitress import wasyncore
from waitress.channel import HTTPChannel
from waitress.server import BaseWSGIServer, create_server

# How long the loop waits for something to happen; a signal wakes it.
_IDLE_S, _STOPPING_S = 1.0, 0.05


class Server:
    """An application served over HTTP by threads of this process.

    Raises OSError if the address cannot be listened on.
    """

    def __init__(self, app: Flask, host: str, port: int, threads: int) -> None:
        self._sockets: dict[int, Any] = {}
        # Headers of proxies go to the application, which knows how many of them to trust.
        self._server = create_server(
            app,
            map=self._sockets,
            host=host,
            port=port,
            threads=threads,
            clear_untrusted_proxy_headers=False,
        )
        self._asked = 0

    @property
    def port(self) -> int:
        """Port that is listened on."""
        return int(self._listening()[0].effective_port)

    def run(self, seconds: float) -> int:
        """Serve until a signal, then finish what runs; return how many requests were cut off."""
        for name in ("SIGTERM", "SIGINT", "SIGBREAK"):
            if hasattr(signal, name):  # SIGBREAK is there on Windows only
                signal.signal(getattr(signal, name), self._stop)
        while not self._asked:
            self._turn(_IDLE_S)
        for listening in self._listening():
            wasyncore.dispatcher.close(listening)
        until = time.monotonic() + seconds
        while self._finishing() and time.monotonic() < until and self._asked < 2:
            self._turn(_STOPPING_S)
        cut = sum(1 for channel in self._channels() if _busy(channel))
        self._server.task_dispatcher.shutdown(timeout=0 if cut else 1)
        wasyncore.close_all(self._sockets)
        return cut

    def _stop(self, *_: Any) -> None:
        self._asked += 1
        for listening in self._listening():
            listening.pull_trigger()

    def _turn(self, seconds: float) -> None:
        wasyncore.loop(timeout=seconds, map=self._sockets, count=1)

    def _finishing(self) -> bool:
        """Close the connections that wait for a request; whether any other is left."""
        for channel in self._channels():
            if not _busy(channel):
                channel.will_close = True
        return bool(self._channels())

    def _listening(self) -> list[Any]:
        return [one for one in self._sockets.values() if isinstance(one, BaseWSGIServer)]

    def _channels(self) -> list[Any]:
        return [one for one in self._sockets.values() if isinstance(one, HTTPChannel)]


def _busy(channel: Any) -> bool:
    """Whether a request is received, answered or sent on this connection."""
    return bool(channel.requests or channel.request or channel.total_outbufs_len)
