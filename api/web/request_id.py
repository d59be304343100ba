"""One id for each request: in the answer, in every problem and in the log.

A caller may send its own ``X-Request-Id`` (1 to 64 letters, digits, ``.``, ``_`` or ``-``);
anything else is replaced by a fresh random id, so that log lines cannot be forged through it.
"""

from __future__ import annotations

import re
import uuid

from flask import Flask, Response, g, request

HEADER = "X-Request-Id"
_ACCEPTED = re.compile(r"[A-Za-z0-9._-]{1,64}")


def request_id() -> str:
    """Id of the current request."""
    known: str | None = g.get("request_id")
    if known is None:
        sent = request.environ.get("HTTP_X_REQUEST_ID", "")
        known = sent if _ACCEPTED.fullmatch(sent) else uuid.uuid4().hex
        g.request_id = known
    return known


def _add_header(response: Response) -> Response:
    response.headers[HEADER] = request_id()
    return response


def install(app: Flask) -> None:
    """Give every answer of the app its request id."""
    app.after_request(_add_header)
