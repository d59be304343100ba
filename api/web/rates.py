"""How often may a key ask, and an address guess keys? Token buckets, one for each, per process.

A bucket holds ``burst`` tokens and gets ``per_minute`` of them back a minute; a request takes one,
and without one it is 429 with Retry-After. Where keys are limited every answer to one carries
``RateLimit-Policy`` and ``RateLimit`` (IETF draft draft-ietf-httpapi-ratelimit-headers, versions 8
to 10; not an RFC): q is the burst, w the seconds in which an empty bucket is full again, r what is
left and t the seconds until it is full. Failed authentications are counted for each address, an
IPv6 address by its network of 64 bits; once they are spent, tokens that were never verified here
are refused unread.

Choice: no shared counter, so that a request waits for nobody; with n processes a key gets up to n
times its rate. Not limited: pages and health, which need no key; that is the proxy's business.
"""

from __future__ import annotations

import ipaddress
import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from flask import Flask, Response, current_app, g, request

from api.web.problems import Problem

EXTENSION = "tracehold.rates"
MAX_HELD = 10_000
MINUTE_S = 60


@dataclass(frozen=True, slots=True)
class Standing:
    """Whether a token was there, how many are left, and the seconds to the next and to all."""

    granted: bool
    left: int
    next_s: int
    full_s: int


@dataclass(slots=True)
class Buckets:
    """Buckets by name; a name that was not seen for long has a full one and is not held."""

    per_minute: int
    burst: int
    clock: Callable[[], float] = time.monotonic
    held: dict[str, tuple[float, float]] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, name: str, count: int = 1) -> Standing:
        """Take ``count`` tokens; with 0 say only whether one is there."""
        rate = self.per_minute / MINUTE_S
        with self.lock:
            now = self.clock()
            had, since = self.held.get(name, (float(self.burst), now))
            tokens = min(float(self.burst), had + (now - since) * rate)
            granted = tokens >= 1
            if granted:
                tokens -= count
            if count:
                self._make_room(now, rate)
                self.held[name] = (tokens, now)
        missing = max(0.0, 1 - tokens) / rate
        return Standing(
            granted, int(tokens), math.ceil(missing), math.ceil((self.burst - tokens) / rate)
        )

    def _make_room(self, now: float, rate: float) -> None:
        if len(self.held) < MAX_HELD:
            return
        empty = {
            name: (tokens, since)
            for name, (tokens, since) in self.held.items()
            if tokens + (now - since) * rate < self.burst
        }
        # Where all are in use the oldest half goes: memory matters more than its count.
        kept = list(empty.items())[len(empty) // 2 :] if len(empty) >= MAX_HELD else empty.items()
        self.held = dict(kept)

    def refill(self) -> None:
        """Make every bucket full again."""
        with self.lock:
            self.held.clear()

    @property
    def policy(self) -> str:
        """Quota and window as parameters of a quota policy."""
        return f"q={self.burst};w={math.ceil(self.burst * MINUTE_S / self.per_minute)}"


@dataclass(frozen=True, slots=True)
class Rates:
    """The limits of this process; None where there is none."""

    of_keys: Buckets | None
    of_failures: Buckets | None


def spend(key_id: str) -> None:
    """Take a token of a key; raises ``Problem`` (429) if it has none."""
    buckets = _rates().of_keys
    if buckets is None:
        return
    g.rate = standing = buckets.take(key_id)
    if not standing.granted:
        detail = f"The key may ask {buckets.per_minute} times a minute."
        raise Problem("too-many-requests", detail, headers={"Retry-After": str(standing.next_s)})


def refuse_guessing() -> None:
    """Let nobody try another key whose address has failed too often; raises ``Problem`` (429)."""
    buckets = _rates().of_failures
    if buckets is None:
        return
    standing = buckets.take(_address(), 0)
    if not standing.granted:
        detail = "Too many keys that are not valid came from this address."
        raise Problem("too-many-requests", detail, headers={"Retry-After": str(standing.next_s)})


def note_failure() -> None:
    """Count a key that was not valid against the address it came from."""
    buckets = _rates().of_failures
    if buckets is not None:
        buckets.take(_address())


def _rates() -> Rates:
    found: Rates = current_app.extensions[EXTENSION]
    return found


def _address() -> str:
    """Who is counted as one: an IPv4 address, or the network that one IPv6 caller has."""
    sent = request.remote_addr or ""
    try:
        address = ipaddress.ip_address(sent)
    except ValueError:  # a socket of this machine, or a server that tells none
        return sent
    if address.version == 4:
        return sent
    return str(address.ipv4_mapped or ipaddress.ip_network((int(address), 64), strict=False))


def _add_headers(response: Response) -> Response:
    standing: Standing | None = g.get("rate")
    buckets = _rates().of_keys
    if standing is not None and buckets is not None:
        response.headers["RateLimit-Policy"] = f'"key";{buckets.policy}'
        response.headers["RateLimit"] = f'"key";r={standing.left};t={standing.full_s}'
    return response


def install(app: Flask, per_minute: int, burst: int, failures_per_minute: int) -> None:
    """Give the app its limits; 0 a minute is no limit, a burst of 0 is what a minute allows."""
    app.extensions[EXTENSION] = Rates(
        Buckets(per_minute, burst or per_minute) if per_minute else None,
        Buckets(failures_per_minute, failures_per_minute) if failures_per_minute else None,
    )
    app.after_request(_add_headers)


def refill(app: Flask) -> None:
    """Give every key and address its full bucket again."""
    found: Rates = app.extensions[EXTENSION]
    for buckets in (found.of_keys, found.of_failures):
        if buckets is not None:
            buckets.refill()
