"""The journal: who changed or asked what, and when; lines are only ever added.

Choice: one line for each transaction that changes something, written in that same transaction, so
that neither can be without the other. Each line holds the SHA-256 of the line before it
(a hash chain); positions have no gaps, and the head stands in a row of its own, so that a line
that was changed, removed, moved or cut off at the end is found (``api.services.upkeep.journal``).
The row of the head is the lock that lets one transaction at a time add to the chain; it is taken
last, just before the commit.

Not prevented: that somebody who can write to the database makes the whole chain anew. Keep an
export, or its last hash, where that person cannot reach it.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import orjson
from sqlalchemy import BigInteger, Connection, Integer, Text, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Mapped, Session, mapped_column

from api.errors import Forbidden, Issue
from api.store.tables import Base, Key
from graph.moments import text_of

Fact = dict[str, Any]
# What the first line follows.
BEGINNING = "0" * 64
_PENDING = "tracehold.journal"


class JournalLine(Base):
    """One line; `body` is the JSON text that `hash` is the SHA-256 of."""

    __tablename__ = "journal_line"
    position: Mapped[int] = mapped_column(Key, primary_key=True, autoincrement=False)
    at_us: Mapped[int] = mapped_column(BigInteger, index=True)
    operation: Mapped[str] = mapped_column(Text, index=True)
    key_id: Mapped[str | None] = mapped_column(Text)
    person: Mapped[str | None] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)
    hash: Mapped[str] = mapped_column(Text)


class JournalHead(Base):
    """Position and hash of the last line."""

    __tablename__ = "journal_head"
    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    position: Mapped[int] = mapped_column(BigInteger)
    hash: Mapped[str] = mapped_column(Text)


@dataclass(frozen=True, slots=True)
class Author:
    """Who acts: the operation asked for, the key or program, the person, and which request."""

    operation: str
    path: str | None = None
    key_id: str | None = None
    key_name: str | None = None
    person: str | None = None
    request_id: str | None = None
    # Whether nobody else may be named as the one who acts.
    binding: bool = False


@dataclass(slots=True)
class Entry:
    """What one line will say, collected while its transaction runs."""

    author: Author
    facts: list[Fact] = field(default_factory=list)
    person: str | None = None


def open_entry(session: Session, author: Author) -> None:
    """Say who acts in this transaction; the line is written when the transaction is committed."""
    session.info[_PENDING] = Entry(author)


def note(session: Session, what: str, *, by: str | None = None, **facts: Any) -> None:
    """Add a fact to the line of this transaction: what was done to what, and by which person.

    A transaction without an author (a background task) keeps no journal. Raises Forbidden if the
    caller is known to be another person than `by`.
    """
    entry: Entry | None = session.info.get(_PENDING)
    if entry is None:
        return
    speaker = entry.author.person
    if by is not None and entry.author.binding and by != speaker:
        issue = Issue("/by", f"the request speaks for {speaker}", f'send "{speaker}"', by)
        raise Forbidden(f"{speaker} cannot act as {by}", [issue])
    entry.facts.append({"what": what, **({} if by is None else {"by": by}), **facts})
    entry.person = by or entry.person


def said_so_far(session: Session) -> Fact:
    """Return who acts in this transaction (`by`, or the name of the `key`) and the first reason."""
    entry: Entry | None = session.info.get(_PENDING)
    if entry is None:
        return {}
    person = entry.person or entry.author.person
    who = {"by": person} if person else {"key": entry.author.key_name}
    reasons = (one["reason"] for one in entry.facts if one.get("reason"))
    known = who | {"reason": next(reasons, None)}
    return {name: value for name, value in known.items() if value is not None}


def take_entry(session: Session) -> Entry:
    """Return what the line of this transaction would say, which is then not written by itself."""
    entry: Entry = session.info.pop(_PENDING)
    return entry


def close_entry(session: Session) -> None:
    """Write the line of this transaction, unless it was rolled back or has no author."""
    entry: Entry | None = session.info.pop(_PENDING, None)
    transaction = session.get_transaction()
    if entry is not None and transaction is not None and transaction.is_active:
        session.flush()
        add(session.connection(), [entry])


def add(connection: Connection, entries: Sequence[Entry], *, wait: bool = True) -> None:
    """Add lines behind the last one; the head stays locked until the transaction ends.

    With `wait` false PostgreSQL raises OperationalError where another transaction holds it.
    """
    position, last = _head(connection, wait)
    rows = []
    for entry in entries:
        position += 1
        row = _line(entry, position, time.time_ns() // 1000, last)
        last = row["hash"]
        rows.append(row)
    # With RETURNING all rows go in one statement.
    connection.execute(insert(JournalLine).returning(JournalLine.position), rows)
    moved = update(JournalHead).where(JournalHead.id == 1)
    connection.execute(moved.values(position=position, hash=last))


def hash_of(body: str) -> str:
    """SHA-256 of a line's text.

    >>> hash_of("")[:16]
    'e3b0c44298fc1c14'
    """
    return hashlib.sha256(body.encode()).hexdigest()


def _head(connection: Connection, wait: bool) -> tuple[int, str]:
    head = select(JournalHead.position, JournalHead.hash).where(JournalHead.id == 1)
    locked = head.with_for_update(nowait=not wait)
    found = connection.execute(locked).one_or_none()
    if found is None:
        dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
        first = dialect.insert(JournalHead).values(id=1, position=0, hash=BEGINNING)
        connection.execute(first.on_conflict_do_nothing(index_elements=["id"]))
        found = connection.execute(locked).one()
    return found.position, found.hash


def _line(entry: Entry, position: int, at_us: int, previous: str) -> dict[str, Any]:
    author, person = entry.author, entry.person or entry.author.person
    said = {
        "position": position,
        "at": text_of(at_us),
        "operation": author.operation,
        "path": author.path,
        "key": author.key_id,
        "key_name": author.key_name,
        "person": person,
        "request_id": author.request_id,
        "facts": entry.facts,
        "previous": previous,
    }
    body = orjson.dumps({name: value for name, value in said.items() if value is not None}).decode()
    return {
        "position": position,
        "at_us": at_us,
        "operation": author.operation,
        "key_id": author.key_id,
        "person": person,
        "body": body,
        "hash": hash_of(body),
    }
