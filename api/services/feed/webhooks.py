"""Addresses that are told of changes: registered once, paused, and given up for good.

A webhook is told of what happens after it was registered, in order, at least once: its next
delivery is made when the one before has been accepted. The secret is shown once and kept, because
every delivery is signed with it.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from typing import Any
from urllib.parse import urlsplit

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, NotFound
from api.services.base.record import Record
from api.services.feed.public_hosts import is_plainly_private
from api.store.casework import Change, Webhook, WebhookDelivery
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from graph.moments import text_of

ACTIVE, PAUSED, SUSPENDED = "active", "paused", "suspended"


def create(session: Session, request: Record, now_us: int, to_private: bool) -> tuple[Webhook, str]:
    """Register an address; return it with its secret, which is not shown again.

    Raises
    ------
    InvalidRecord
        If the address is not a plain http or https one, or plainly a private one; a name is
        looked up only when something is delivered to it.
    """
    _check_url(request["url"], to_private)
    secret = f"whsec_{secrets.token_urlsafe(32)}"
    webhook = Webhook(
        url=request["url"],
        secret=secret,
        events=request["events"],
        cursor=session.scalar(select(func.max(Change.id))) or 0,
        state=ACTIVE,
        created_us=now_us,
        version=1,
    )
    session.add(webhook)
    session.flush()
    journal_note(session, "webhook", id=webhook.id, url=webhook.url, events=webhook.events)
    return webhook, secret


def get(session: Session, key: int) -> Webhook:
    """Return the webhook with this id."""
    webhook = session.get(Webhook, key)
    if webhook is None:
        raise NotFound(f"webhook {key} does not exist")
    return webhook


def change(session: Session, webhook: Webhook, changes: Record) -> Webhook:
    """Pause a webhook, or set it going again where it stopped; other events from then on."""
    if "active" in changes:
        webhook.state = ACTIVE if changes["active"] else PAUSED
        if changes["active"]:
            for waiting in session.scalars(
                select(WebhookDelivery).where(
                    WebhookDelivery.webhook_id == webhook.id, WebhookDelivery.state == "waiting"
                )
            ):
                waiting.due_us, waiting.attempts = 0, 0
    if "events" in changes:
        webhook.events = changes["events"]
    journal_note(session, "webhook changed", id=webhook.id, changed=sorted(changes))
    session.flush()
    return webhook


def find(
    session: Session, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of webhooks, without their secrets."""
    rows, key = page(session, select(Webhook), [Webhook.id], after, limit)
    return [answer(row[0]) for row in rows], key


def answer(webhook: Webhook) -> Record:
    """Return a webhook without its secret."""
    return {
        "id": webhook.id,
        "url": webhook.url,
        "events": webhook.events,
        "state": webhook.state,
        "cursor": str(webhook.cursor),
        "created_at": text_of(webhook.created_us),
        "version": webhook.version,
    }


def deliveries(
    session: Session, webhook: Webhook, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of the deliveries of a webhook, newest first, with every outcome."""
    statement = select(WebhookDelivery).where(WebhookDelivery.webhook_id == webhook.id)
    rows, key = page(session, statement, [WebhookDelivery.id], after, limit, descending=True)
    return [_delivery(row[0]) for row in rows], key


def _delivery(one: WebhookDelivery) -> Record:
    waiting = one.state == "waiting"
    return {
        "id": one.id,
        "state": one.state,
        "changes": one.changes,
        "attempts": one.attempts,
        "created_at": text_of(one.created_us),
        "due_at": text_of(one.due_us) if waiting else None,
        "delivered_at": None if one.ended_us is None else text_of(one.ended_us),
        "outcomes": one.outcomes,
    }


def _check_url(url: str, to_private: bool) -> None:
    try:
        parts = urlsplit(url)
        fits = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        fits = False
    detail = "not an http or https address" if not fits else None
    if fits and (parts.username is not None or parts.fragment):
        detail = "an address with a name, password or fragment in it"
    if detail is None and not to_private and is_plainly_private(parts.hostname or ""):
        detail = "a private, loopback or link-local address"
    if detail is not None:
        remedy = "send https://host/path of a public host"
        raise InvalidRecord(
            "the webhook was not registered", [Issue("/url", detail, remedy, url[:200])]
        )
