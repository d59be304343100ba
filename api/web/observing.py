"""What is told of each request once it is over: a line of the log, and what metrics count.

Choice: an address is told by its route template, so that neither ids nor a guesser's addresses
become labels or lines; an answer that streams is over when its last byte is made, or when the
client has gone. Questions of health and of metrics are told at DEBUG: they come every few seconds.
"""

from __future__ import annotations

import logging
import time
from functools import partial
from typing import NamedTuple

from flask import Flask, Response, current_app, g, request

from api.services.access.keys import KeyRecord
from api.web.logs import FACTS
from api.web.metrics import EXTENSION, Meters
from api.web.request_id import request_id

log = logging.getLogger("api.requests")
METHODS = frozenset(("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"))
PROBES = frozenset(("/healthz", "/readyz", "/metrics"))
OTHER = "other"
UNMATCHED = "unmatched"


class Seen(NamedTuple):
    """One request: what was asked for by whom, and when it began (seconds of a steady clock)."""

    method: str
    route: str
    status: int
    request_id: str
    key: str | None
    person: str | None
    began: float


def route() -> str:
    """Template of the current request's address, such as /v1/items/<id>; one word for all else."""
    rule = request.url_rule
    return UNMATCHED if rule is None else rule.rule


def method() -> str:
    """Method of the current request; those that no address has are one word."""
    return request.method if request.method in METHODS else OTHER


def _begin() -> None:
    g.began = time.perf_counter()


def _answered(response: Response) -> Response:
    key: KeyRecord | None = g.get("key")
    seen = Seen(
        method(),
        route(),
        response.status_code,
        request_id(),
        None if key is None else key.public_id,
        g.get("person") or (None if key is None else key.person),
        g.began,
    )
    meters: Meters = current_app.extensions[EXTENSION]
    if response.is_streamed:
        response.call_on_close(partial(_over, seen, meters))
    else:
        _over(seen, meters)
    return response


def _over(seen: Seen, meters: Meters) -> None:
    seconds = time.perf_counter() - seen.began
    meters.seen(seen.method, seen.route, seen.status, seconds)
    level = logging.DEBUG if seen.route in PROBES else logging.INFO
    if seen.status >= 500:
        level = logging.ERROR
    if log.isEnabledFor(level):
        facts = seen._asdict()
        del facts["began"]
        facts["duration_ms"] = round(seconds * 1000, 3)
        log.log(level, "%s %s %d", seen.method, seen.route, seen.status, extra={FACTS: facts})


def install(app: Flask) -> None:
    """Tell of every request; before any other part, so that it begins first and ends last."""
    app.before_request(_begin)
    app.after_request(_answered)
