"""May a POST be sent again after a dropped connection? With ``Idempotency-Key``, yes.

Follows the IETF draft draft-ietf-httpapi-idempotency-key-header-07 (2025; expired, not an RFC).
The header is optional. Per API key: the same key with another request is 422; a finished one is
answered again with the status, body, ``Location`` and ``ETag`` it had, plus
``Idempotency-Replayed: true``, for 24 hours.

Only what succeeded is kept. The answer is written in the transaction of the request itself, so
that a process that dies leaves both or neither, and the caller may send it again at once. A
duplicate that arrives while the first is running waits for it. A refused request (4xx) changed
nothing and a failed one (5xx) was rolled back, so their key is free again. Streamed answers are not
kept.
"""

from __future__ import annotations

import base64
import hashlib
import re
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial, wraps
from typing import Any, TypeVar

from flask import Flask, Response, current_app, g, make_response, request
from marshmallow import fields
from sqlalchemy.orm import Session

from api.errors import Issue
from api.services.access import kept_answers
from api.services.access.kept_answers import Claim, Kept
from api.store.database import Database
from api.web.blueprints import mark
from api.web.problems import Problem
from api.web.transactions import OneTransaction, database, reading

EXTENSION = "tracehold.idempotency"
HEADER = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"
KEPT_HEADERS = ("Content-Type", "Location", "ETag", "Link")
FORGET_EVERY_S = 600.0
_KEY = re.compile(r'"?([\x21\x23-\x5b\x5d-\x7e]{1,255})"?')
_IN_MEMORY = 4 * 1024 * 1024
_CHUNK = 256 * 1024
View = TypeVar("View", bound=Callable[..., Any])


def idempotent(view: View) -> View:
    """Make a POST view safe to repeat; stands directly under ``@requires``."""

    @wraps(view)
    def once(*args: Any, **kwargs: Any) -> Any:
        key = request.environ.get("HTTP_IDEMPOTENCY_KEY")
        # Nothing is stored by a dry run, its answer neither; it is asked anew each time.
        if key is None or request.args.get("dry_run") in fields.Boolean.truthy:
            return view(*args, **kwargs)
        return _once(_checked(key), view, args, kwargs)

    mark(once, idempotent=True)
    return once  # type: ignore[return-value]  # wraps keeps the signature


class _Duplicate(Exception):
    """Another request was carried out under the same key in the meantime."""


def _once(key: str, view: Callable[..., Any], args: Any, kwargs: Any) -> Response:
    with _hashed_request() as request_hash:
        return carry_out_once(key, request_hash, partial(view, *args, **kwargs))


def carry_out_once(key: str, request_hash: str, work: Callable[[], Any]) -> Response:
    """Answer a request by its work, or as it was answered before under this key of the caller."""
    now = time.time_ns() // 1000
    _forget_old_now_and_then(database(), now)
    claim = Claim(g.key.id, key, request_hash, now)
    known = _known(claim)
    if known is None:
        try:
            return _carried_out(claim, work)
        except _Duplicate:
            known = _known(claim)
    if known is None:
        raise Problem(
            "request-running",
            "Another request with this Idempotency-Key was taken back just now.",
            headers={"Retry-After": "1"},
        )
    return _replay(known, claim.request_hash)


def _carried_out(claim: Claim, work: Callable[[], Any]) -> Response:
    def begin(session: Session) -> None:
        if not kept_answers.take(session, claim):
            raise _Duplicate

    with OneTransaction(begin) as transaction:
        response = make_response(work())
        if response.status_code >= 400:
            transaction.take_back()
        elif response.is_streamed and transaction.is_open:
            kept_answers.leave(transaction.session(), claim)
        if response.status_code >= 400 or response.is_streamed:
            return response
        kept = Kept(claim.request_hash, response.status_code, _headers(response), _packed(response))
        if transaction.is_open:
            kept_answers.keep(transaction.session(), claim, kept)
            return response
    # Nothing was written, or it was taken back on purpose: only the answer is left to keep.
    with database().write() as session:
        if kept_answers.take(session, claim):
            kept_answers.keep(session, claim, kept)
    return response


def _known(claim: Claim) -> Kept | None:
    with reading() as session:
        return kept_answers.known(session, claim)


def _headers(response: Response) -> dict[str, str]:
    return {name: response.headers[name] for name in KEPT_HEADERS if name in response.headers}


def _replay(kept: Kept, request_hash: str) -> Response:
    if kept.request_hash != request_hash:
        said = "This Idempotency-Key was used for another request."
        remedy = f"send another {HEADER} with this request; the first one was carried out"
        raise Problem("idempotency-key-reused", said, [Issue("", "the request differs", remedy)])
    response = Response(_unpacked(kept.body), kept.status, kept.headers)
    response.headers[REPLAYED] = "true"
    return response


def _checked(key: str) -> str:
    found = _KEY.fullmatch(key)
    if found is None:
        raise Problem("bad-request", f"{HEADER} must be 1 to 255 visible ASCII characters.")
    return found[1]


@contextmanager
def _hashed_request() -> Iterator[str]:
    """Hash method, path, query, content type and body; the view still reads its body inside."""
    digest = hashlib.sha256()
    for part in (request.method, request.path, request.query_string, request.mimetype):
        digest.update(part if isinstance(part, bytes) else part.encode("utf-8", "surrogatepass"))
        digest.update(b"\n")
    with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as body:
        while chunk := request.stream.read(_CHUNK):
            digest.update(chunk)
            body.write(chunk)
        body.seek(0)
        request.stream = body
        yield digest.hexdigest()


def _packed(response: Response) -> str:
    body = response.get_data()
    try:
        text = body.decode()
    except UnicodeDecodeError:
        text = "\0"
    # PostgreSQL's text holds no NUL.
    return "b" + base64.b64encode(body).decode() if "\0" in text else "t" + text


def _unpacked(body: str) -> bytes:
    return base64.b64decode(body[1:]) if body.startswith("b") else body[1:].encode()


def _forget_old_now_and_then(store: Database, now: int) -> None:
    state: dict[str, Any] = current_app.extensions[EXTENSION]
    with state["lock"]:
        if time.monotonic() < state["due"]:
            return
        state["due"] = time.monotonic() + FORGET_EVERY_S
    kept_answers.forget_old(store, now)


def install(app: Flask) -> None:
    """Let the app look through what is kept at the next request that may be repeated."""
    app.extensions[EXTENSION] = {"lock": threading.Lock(), "due": 0.0}
