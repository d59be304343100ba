"""What a request may not hold, and headers that keep browsers from misusing an answer."""

from __future__ import annotations

from typing import Any

from flask import Flask, Response, request
from werkzeug.routing import IntegerConverter, Map

from api.web.problems import Problem

# Pages load only what this server serves itself; nothing inline, nothing from elsewhere.
PAGE_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


class KeyConverter(IntegerConverter):
    """A whole number in an address that fits the database's keys; others are not found."""

    def __init__(self, map: Map, *args: Any, **options: Any) -> None:
        super().__init__(map, *args, **{"max": 2**63 - 1, **options})


def _refuse_nul() -> None:
    # No text in the database can hold a NUL, and PostgreSQL fails when it is asked for one.
    if "\0" in request.environ["PATH_INFO"] or "%00" in request.environ.get("QUERY_STRING", ""):
        raise Problem("bad-request", "The address holds a NUL character.")


def _add_headers(response: Response) -> Response:
    headers = response.headers
    headers["X-Content-Type-Options"] = "nosniff"
    if "Cache-Control" not in headers:
        headers["Cache-Control"] = "no-cache" if "ETag" in headers else "no-store"
    if response.mimetype == "text/html":
        headers.setdefault("Content-Security-Policy", PAGE_POLICY)
        headers["Referrer-Policy"] = "no-referrer"
    return response


def install(app: Flask) -> None:
    """Refuse such requests and add the headers; before any address is joined to the app."""
    app.url_map.converters["int"] = KeyConverter
    app.before_request(_refuse_nul)
    app.after_request(_add_headers)
