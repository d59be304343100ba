"""May this caller do this? Bearer API keys with scopes (RFC 6750 for the headers).

A route says which scope it needs and whether keys that belong to a customer may use it; by default
they may not. A verified key is remembered in this process for ``REMEMBERED_S`` seconds, so that a
request does not have to ask the database; a revocation takes effect within that time, in every
process. Expiry is checked at each request. The time of last use is noted at most once a minute.
How often a key may ask, and an address may guess, is in ``api.web.rates``.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import wraps
from typing import Any, TypeVar

from flask import Flask, current_app, g, request

from api.services.access import keys
from api.services.access.keys import KeyRecord
from api.web import rates
from api.web.blueprints import mark
from api.web.problems import Problem
from api.web.transactions import database

EXTENSION = "tracehold.keys"
REMEMBERED_S = 3.0
MAX_REMEMBERED = 4096
View = TypeVar("View", bound=Callable[..., Any])


@dataclass(slots=True)
class RememberedKeys:
    """Keys verified a moment ago, by the SHA-256 of their token."""

    found: dict[bytes, tuple[float, KeyRecord]] = field(default_factory=dict)

    def get(self, digest: bytes) -> KeyRecord | None:
        """Return the key if it was verified within ``REMEMBERED_S`` seconds."""
        held = self.found.get(digest)
        if held is None or time.monotonic() - held[0] > REMEMBERED_S:
            return None
        return held[1]

    def knows(self, digest: bytes) -> bool:
        """Whether the key was ever verified here: it is worth a question, no guess."""
        return digest in self.found

    def put(self, digest: bytes, record: KeyRecord) -> None:
        """Remember a key that was just verified."""
        if len(self.found) >= MAX_REMEMBERED:
            self.found.clear()
        self.found[digest] = (time.monotonic(), record)

    def forget(self) -> None:
        """Forget all keys; the next request of each asks the database."""
        self.found.clear()


def requires(scope: str, *, customers: bool = False) -> Callable[[View], View]:
    """Let only keys with the scope in: 401 without a valid key, 403 without the scope.

    A key that belongs to a customer is refused (403) unless the route is declared with
    ``customers=True``; its view then shows that customer's own records alone. ``g.key`` is the
    ``KeyRecord`` of the caller. Both facts stand in the OpenAPI document as ``x-scope`` and
    ``x-customer-keys``.
    """
    if scope not in keys.SCOPES:
        raise ValueError(f"unknown scope {scope}")

    required = require if customers else require_laboratory

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(*args: Any, **kwargs: Any) -> Any:
            required(scope)
            return view(*args, **kwargs)

        mark(guarded, scope=scope, customers=customers)
        return guarded  # type: ignore[return-value]  # wraps keeps the signature

    return decorate


def require(scope: str) -> KeyRecord:
    """Check the caller's key now, for what depends on the request, and return it."""
    key = _caller()
    check(key, scope, customers=True)
    return key


def require_laboratory(scope: str) -> KeyRecord:
    """Check the caller's key now as `require` does; refuse one that belongs to a customer."""
    key = _caller()
    check(key, scope)
    return key


def check(key: KeyRecord, scope: str, *, customers: bool = False) -> None:
    """Refuse a key that lacks the scope, or that belongs to a customer where none may."""
    if not key.allows(scope):
        raise Problem(
            "missing-scope",
            f"The key {key.name} lacks the scope {scope}.",
            headers={"WWW-Authenticate": f'Bearer error="insufficient_scope", scope="{scope}"'},
        )
    if key.customer is not None and not customers:
        raise Problem(
            "forbidden", "This key belongs to a customer; only the laboratory may do this."
        )


def _caller() -> KeyRecord:
    known: KeyRecord | None = g.get("key")
    if known is not None:
        return known
    scheme, _, token = request.environ.get("HTTP_AUTHORIZATION", "").partition(" ")
    if scheme.lower() != "bearer" or not token:
        raise Problem(
            "unauthorized", "No API key was sent.", headers={"WWW-Authenticate": "Bearer"}
        )
    key = verified(token.strip())
    if key is None:
        raise Problem(
            "unauthorized",
            "The API key is unknown, revoked or expired.",
            headers={"WWW-Authenticate": 'Bearer error="invalid_token"'},
        )
    g.key = key
    rates.spend(key.public_id)
    return key


def verified(token: str) -> KeyRecord | None:
    """Return the key of a token, None if it is unknown, revoked or expired."""
    remembered: RememberedKeys = current_app.extensions[EXTENSION]
    digest = hashlib.sha256(token.encode("utf-8", "surrogatepass")).digest()
    now = time.time_ns() // 1000
    key = remembered.get(digest)
    if key is not None:
        return key if key.valid_at(now) else None
    # Whoever guesses costs the database nothing after a while, and keys in use are not shut out.
    if not remembered.knows(digest):
        rates.refuse_guessing()
    with database().read() as session:
        key = keys.verify(session, token, now)
    if key is None:
        rates.note_failure()
        return None
    if key.last_used_us is None or now - key.last_used_us >= keys.USE_NOTED_EVERY_US:
        keys.note_use(database(), key, now)
    remembered.put(digest, key)
    return key


def forget_keys() -> None:
    """Make this process ask the database again at the next request of each key."""
    remembered: RememberedKeys = current_app.extensions[EXTENSION]
    remembered.forget()


def install(app: Flask) -> None:
    """Give the app a memory of verified keys, in which there is none yet."""
    app.extensions[EXTENSION] = RememberedKeys()
