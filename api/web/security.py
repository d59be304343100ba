"""What a request may not hold, and headers that keep browsers from misusing an answer.

Strict-Transport-Security is sent where the server knows that the caller came by TLS, and only there
(RFC 6797 section 7.2); a proxy that speaks TLS may add it as well. The API has no cookies; that of
the pages is SameSite=Strict and their forms carry a token: nothing is sent along by another site.
"""

from __future__ import annotations

from typing import Any

from flask import Flask, Response, current_app, request
from werkzeug.routing import IntegerConverter, Map

from api.web.blueprints import is_bulk
from api.web.problems import Problem

# Pages load only what this server serves itself; nothing inline, nothing from elsewhere.
PAGE_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# Data is no page: were a browser to show it as one, nothing would load and no frame hold it.
DATA_POLICY = "default-src 'none'; frame-ancestors 'none'"
ALWAYS = (
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
)
STRICT_TRANSPORT = "max-age=31536000"


class KeyConverter(IntegerConverter):
    """A whole number in an address that fits the database's keys; others are not found."""

    def __init__(self, map: Map, *args: Any, **options: Any) -> None:
        super().__init__(map, *args, **{"max": 2**63 - 1, **options})


def _refuse_nul() -> None:
    # No text in the database can hold a NUL, and PostgreSQL fails when it is asked for one.
    if "\0" in request.environ["PATH_INFO"] or "%00" in request.environ.get("QUERY_STRING", ""):
        raise Problem("bad-request", "The address holds a NUL character.")


def _refuse_packed() -> None:
    # A packed body would be small when it is measured and large when it is read.
    coding = request.environ.get("HTTP_CONTENT_ENCODING", "identity")
    if coding.lower() not in ("", "identity"):
        raise Problem(
            "unsupported-media-type",
            "A body is not unpacked here: send it without Content-Encoding.",
            headers={"Accept-Encoding": "identity"},
        )


def _bound_body() -> None:
    if not is_bulk(request):
        most = current_app.config["MAX_RECORD_BYTES"]
        request.max_content_length = min(most, current_app.config["MAX_CONTENT_LENGTH"])


def _add_headers(response: Response) -> Response:
    headers = response.headers
    for name, value in ALWAYS:
        headers[name] = value
    if "Cache-Control" not in headers:
        headers["Cache-Control"] = "no-cache" if "ETag" in headers else "no-store"
    if "Content-Security-Policy" not in headers:
        page = response.mimetype == "text/html"
        headers["Content-Security-Policy"] = PAGE_POLICY if page else DATA_POLICY
    if request.is_secure:
        headers["Strict-Transport-Security"] = STRICT_TRANSPORT
    return response


def install(app: Flask) -> None:
    """Refuse such requests and add the headers; before any address is joined to the app."""
    app.url_map.converters["int"] = KeyConverter
    for check in (_refuse_nul, _refuse_packed, _bound_body):
        app.before_request(check)
    app.after_request(_add_headers)
