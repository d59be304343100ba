"""Lost updates: whether a caller may change what it read a while ago.

RFC 9110 sections 8.8.3 and 13.1.1, RFC 6585 section 3. The tag is made of id and row version, so no
body is dumped to compare it. The row version also stands in the UPDATE's WHERE (SQLAlchemy's
``version_id_col``), which closes the gap between this check and the commit.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any, TypeVar

from flask import Flask, Response, request

from api.errors import Issue
from api.web.blueprints import mark
from api.web.problems import Problem

_READ = "GET it, and send the ETag of the answer as If-Match"
View = TypeVar("View", bound=Callable[..., Any])


def etag_of(identity: str | int, version: int) -> str:
    """Strong entity tag, with its quotation marks, of one version of one record.

    >>> etag_of("WS-20", 3) == etag_of("WS-20", 3) != etag_of("WS-20", 4)
    True
    """
    digest = hashlib.sha256(f"{version}\n{identity}".encode()).hexdigest()
    return f'"{digest[:24]}"'


def check_if_match(etag: str) -> None:
    """Let only a request pass whose ``If-Match`` names this tag (or ``*``).

    Raises ``Problem``: 428 without the header, 412 with another tag.
    """
    if "If-Match" not in request.headers:
        missing = Issue("", "the header If-Match is missing", f"{_READ}, so that nothing is lost")
        detail = "This change needs the header If-Match."
        raise Problem("precondition-required", detail, [missing])
    if not request.if_match.contains(etag.strip('"')):
        said = "It changed since it was read."
        stale = Issue("", "If-Match names another version", f"look what changed: {_READ}")
        raise Problem("stale-version", said, [stale], headers={"ETag": etag})


def honour_if_match(etag: Callable[[], str]) -> None:
    """Where ``If-Match`` is sent, let the request pass only if it names this tag (or ``*``).

    The tag is asked for only then. Raises ``Problem``: 412 with another tag.
    """
    if "If-Match" in request.headers:
        check_if_match(etag())


def needs_if_match(view: View) -> View:
    """Document that a view calls ``check_if_match``."""
    mark(view, if_match="needed")
    return view


def honours_if_match(view: View) -> View:
    """Document that a view calls ``honour_if_match``."""
    mark(view, if_match="honoured")
    return view


def _answer_conditionally(response: Response) -> Response:
    if "ETag" in response.headers and request.method == "GET" and response.status_code == 200:
        response.make_conditional(request)
    return response


def install(app: Flask) -> None:
    """Answer 304 where a GET's ``If-None-Match`` names the ETag that a view has set."""
    app.after_request(_answer_conditionally)
