"""Deliver changes to webhooks, signed, and again after a while where nobody took them.

Each call does what is due and returns; a cron job or a loop drives it, and several may run at once,
since a delivery is claimed before it is sent. No transaction is open while a server is waited for.
Any 2xx answer within the time allowed accepts a delivery; a redirect does not, for it could lead
anywhere, and a private host gets nothing (see ``api.services.feed.public_hosts``). After
``MOST_ATTEMPTS`` the webhook is suspended, and goes on from the same delivery when somebody sets it
going again.

The signature is ``Tracehold-Signature: t=<seconds>,v1=<hex>``: HMAC-SHA256 (RFC 2104) with the
secret over the seconds, a full stop and the body as sent. A receiver compares it in constant time
and refuses old seconds, so that nobody can send a message again later.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import orjson
import requests
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.feed import changes, public_hosts
from api.services.feed.webhooks import ACTIVE, SUSPENDED
from api.store.casework import Webhook, WebhookDelivery
from api.store.database import Database
from api.version import VERSION
from graph.moments import text_of

WAITING, DELIVERED = "waiting", "delivered"
CHANGES_A_DELIVERY = 100
SECOND_US = 1_000_000
FIRST_WAIT_US, LONGEST_WAIT_US = 30 * SECOND_US, 6 * 3600 * SECOND_US
MOST_ATTEMPTS = 20
# While one process sends a delivery no other takes it; longer than a server is waited for.
CLAIMED_US = 60 * SECOND_US
CONNECT_S, ANSWER_S = 5, 15


@dataclass(frozen=True, slots=True)
class Claimed:
    """A delivery to be sent now."""

    id: int
    url: str
    secret: str
    body: bytes


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one attempt, in words."""

    delivery: int
    url: str
    accepted: bool
    said: str


Send = Callable[[Claimed, int], tuple[bool, str]]


def signature(secret: str, seconds: int, body: bytes) -> str:
    """Return the value of the signature header.

    >>> signature("s", 1, b"{}")[:10]
    't=1,v1=b25'
    """
    signed = b"%d.%b" % (seconds, body)
    digest = hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()
    return f"t={seconds},v1={digest}"


def sender(to_private: bool) -> Send:
    """Make what sends a delivery once: to public hosts alone, or to the laboratory's own as well.

    It returns whether the delivery was accepted, and the answer in words.
    """
    session = public_hosts.session(to_private)

    def send(claimed: Claimed, now_us: int) -> tuple[bool, str]:
        headers = {
            "Content-Type": "application/json",
            "User-Agent": f"Tracehold/{VERSION}",
            "Tracehold-Delivery": str(claimed.id),
            "Tracehold-Signature": signature(claimed.secret, now_us // SECOND_US, claimed.body),
        }
        try:
            with session.post(
                claimed.url,
                data=claimed.body,
                headers=headers,
                timeout=(CONNECT_S, ANSWER_S),
                allow_redirects=False,
                stream=True,  # the answer's body is of no interest, whatever its size
                # None takes away a proxy that the environment names.
                proxies=dict.fromkeys(("http", "https", "all")),  # type: ignore[arg-type]
            ) as response:
                return 200 <= response.status_code < 300, f"HTTP {response.status_code}"
        except requests.RequestException as error:
            return False, public_hosts.reason(error)

    return send


def deliver(database: Database, clock: Callable[[], int], send: Send) -> Iterator[Outcome]:
    """Send every delivery that is due; ends when nothing is. `clock` gives microseconds."""
    while True:
        claimed = _claim_all(database, clock())
        if not claimed:
            return
        for one in claimed:
            accepted, said = send(one, clock())
            _settle(database, one.id, accepted, said, clock())
            yield Outcome(one.id, one.url, accepted, said)


def _claim_all(database: Database, now_us: int) -> list[Claimed]:
    with database.write() as session:
        webhooks = select(Webhook).where(Webhook.state == ACTIVE).order_by(Webhook.id)
        # Another process that claims at the same time waits here, and then finds nothing due.
        found = session.scalars(webhooks.with_for_update()).all()
        claimed = [_claim(session, webhook, now_us) for webhook in found]
        return [one for one in claimed if one is not None]


def _claim(session: Session, webhook: Webhook, now_us: int) -> Claimed | None:
    """Return the delivery of a webhook that is due, made anew if all others were accepted."""
    waiting = session.scalars(
        select(WebhookDelivery).where(
            WebhookDelivery.webhook_id == webhook.id, WebhookDelivery.state == WAITING
        )
    ).one_or_none()
    if waiting is None:
        waiting = _next(session, webhook, now_us)
    if waiting is None or waiting.due_us > now_us:
        return None
    waiting.due_us = now_us + CLAIMED_US
    session.flush()
    return Claimed(waiting.id, webhook.url, webhook.secret, waiting.body.encode())


def _next(session: Session, webhook: Webhook, now_us: int) -> WebhookDelivery | None:
    found, cursor, _ = changes.find(
        session, CHANGES_A_DELIVERY, after=webhook.cursor, events=webhook.events
    )
    webhook.cursor = cursor
    if not found:
        return None
    body: Record = {"webhook": webhook.id, "cursor": str(cursor), "changes": found}
    made = WebhookDelivery(
        webhook_id=webhook.id,
        body=orjson.dumps(body).decode(),
        changes=len(found),
        state=WAITING,
        attempts=0,
        due_us=now_us,
        created_us=now_us,
        outcomes=[],
    )
    session.add(made)
    session.flush()
    return made


def _settle(database: Database, key: int, accepted: bool, said: str, now_us: int) -> None:
    with database.write() as session:
        one = session.get_one(WebhookDelivery, key)
        one.attempts += 1
        one.outcomes = [*one.outcomes, {"at": text_of(now_us), "answer": said}]
        if accepted:
            one.state, one.ended_us = DELIVERED, now_us
            return
        one.due_us = now_us + wait_us(one.attempts)
        if one.attempts >= MOST_ATTEMPTS:
            session.get_one(Webhook, one.webhook_id).state = SUSPENDED


def wait_us(attempts: int) -> int:
    """Return how long to wait after so many attempts: twice as long each time, up to six hours.

    >>> [wait_us(n) // SECOND_US for n in (1, 2, 3, 20)]
    [30, 60, 120, 21600]
    """
    return int(min(FIRST_WAIT_US * 2 ** (attempts - 1), LONGEST_WAIT_US))
