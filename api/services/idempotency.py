"""Which answer did this key already get? Claims and kept answers behind ``Idempotency-Key``.

A claim is one row, unique by API key and idempotency key, so that of two parallel duplicates the
database lets one through. Instants are whole microseconds since 1970-01-01T00:00:00Z.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import CursorResult, delete, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api.store.database import Database
from api.store.tables import IdempotentAnswer

KEPT_US = 24 * 3600 * 1_000_000
# A claim without an answer after this long belongs to a process that died.
RUNNING_US = 15 * 60 * 1_000_000


@dataclass(frozen=True, slots=True)
class Kept:
    """What is known under a key: the request's hash and, once it ended, its answer."""

    request_hash: str
    status: int | None
    headers: dict[str, str]
    body: str


def claim(database: Database, api_key: int, key: str, request_hash: str, now: int) -> int | Kept:
    """Claim the key and return the claim's id, or return what is already known under it."""
    while True:
        try:
            with database.write() as session:
                made = _claim_expired(session, api_key, key, request_hash, now)
                if made is not None:
                    return made
                row = IdempotentAnswer(
                    api_key_id=api_key,
                    idempotency_key=key,
                    request_hash=request_hash,
                    created_us=now,
                )
                session.add(row)
                session.flush()
                return row.id
        except IntegrityError:
            with database.read() as session:
                found = session.scalars(_row(api_key, key)).one_or_none()
            if found is not None:
                return Kept(found.request_hash, found.status, found.headers or {}, found.body or "")
            # The other one gave its claim up in between; the key is free again.


def keep(
    database: Database, claim_id: int, status: int, headers: dict[str, str], body: str
) -> None:
    """Keep the answer to a claimed request."""
    with database.write() as session:
        session.execute(
            update(IdempotentAnswer)
            .where(IdempotentAnswer.id == claim_id)
            .values(status=status, headers=headers, body=body)
        )


def give_up(database: Database, claim_id: int) -> None:
    """Free the key again: nothing was done under it."""
    with database.write() as session:
        session.execute(delete(IdempotentAnswer).where(IdempotentAnswer.id == claim_id))


def forget_old(database: Database, now: int) -> None:
    """Delete answers older than a day."""
    with database.write() as session:
        session.execute(delete(IdempotentAnswer).where(IdempotentAnswer.created_us < now - KEPT_US))


def _row(api_key: int, key: str) -> Any:
    return select(IdempotentAnswer).where(
        IdempotentAnswer.api_key_id == api_key, IdempotentAnswer.idempotency_key == key
    )


def _claim_expired(
    session: Session, api_key: int, key: str, request_hash: str, now: int
) -> int | None:
    """Take over a row whose day or whose running time is over, if there is one."""
    found = session.scalars(_row(api_key, key)).one_or_none()
    if found is None:
        return None
    allowed = RUNNING_US if found.status is None else KEPT_US
    if found.created_us > now - allowed:
        return None
    result: CursorResult[Any] = session.execute(  # type: ignore[assignment]
        update(IdempotentAnswer)
        .where(IdempotentAnswer.id == found.id, IdempotentAnswer.created_us == found.created_us)
        .values(request_hash=request_hash, status=None, headers=None, body=None, created_us=now)
    )
    return found.id if result.rowcount == 1 else None
