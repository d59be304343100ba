"""Which answer did this key already get? Answers kept behind ``Idempotency-Key``.

A row is unique by API key and idempotency key, and is written in the transaction of the request
itself: either the request was carried out and its answer is known, or neither. Instants are whole
microseconds since 1970-01-01T00:00:00Z.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import ColumnElement, delete, select, update
from sqlalchemy.orm import Session

from api.store.database import Database
from api.store.tables import IdempotentAnswer
from api.store.upsert import insert_if_absent

KEPT_US = 24 * 3600 * 1_000_000


@dataclass(frozen=True, slots=True)
class Claim:
    """A request that is to be done once: whose, under which key, and the hash of its content."""

    api_key: int
    key: str
    request_hash: str
    now_us: int


@dataclass(frozen=True, slots=True)
class Kept:
    """What is known under a key: the request's hash and its answer."""

    request_hash: str
    status: int
    headers: dict[str, str]
    body: str


def known(session: Session, claim: Claim) -> Kept | None:
    """Return what was answered under the key within the last day, if anything."""
    found = session.scalars(
        select(IdempotentAnswer).where(
            *_under(claim), IdempotentAnswer.created_us > claim.now_us - KEPT_US
        )
    ).one_or_none()
    if found is None:
        return None
    return Kept(found.request_hash, found.status, found.headers, found.body)


def take(session: Session, claim: Claim) -> bool:
    """Take the key for this transaction; False if another one was carried out under it.

    A duplicate that runs at the same time waits here until the first is committed or rolled back.
    """
    old = IdempotentAnswer.created_us <= claim.now_us - KEPT_US
    session.execute(delete(IdempotentAnswer).where(*_under(claim), old))
    row = {
        "api_key_id": claim.api_key,
        "idempotency_key": claim.key,
        "request_hash": claim.request_hash,
        "status": 0,
        "headers": {},
        "body": "",
        "created_us": claim.now_us,
    }
    key = ["api_key_id", "idempotency_key"]
    return insert_if_absent(session, IdempotentAnswer, row, key) is not None


def keep(session: Session, claim: Claim, kept: Kept) -> None:
    """Keep the answer to a request whose key was taken in this transaction."""
    session.execute(
        update(IdempotentAnswer)
        .where(*_under(claim))
        .values(status=kept.status, headers=kept.headers, body=kept.body)
    )


def leave(session: Session, claim: Claim) -> None:
    """Leave a key that was taken in this transaction free for another request."""
    session.execute(delete(IdempotentAnswer).where(*_under(claim)))


def forget_old(database: Database, now: int) -> None:
    """Delete answers older than a day."""
    old = IdempotentAnswer.created_us <= now - KEPT_US
    with database.write() as session:
        session.execute(delete(IdempotentAnswer).where(old))


def _under(claim: Claim) -> tuple[ColumnElement[bool], ...]:
    return (
        IdempotentAnswer.api_key_id == claim.api_key,
        IdempotentAnswer.idempotency_key == claim.key,
    )
