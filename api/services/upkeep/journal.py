"""Reading the journal, and finding whether anything in it was changed, removed or moved.

Choice: what is checked is the chain alone (each line's hash, its position, the hash of the line
before) and the head; an export can so be checked without the database. Whether the records of the
store have their lines is the question of ``api.services.upkeep.verification``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.store.journal import BEGINNING, JournalHead, JournalLine, hash_of
from api.store.paging import KeyValues, page

LOT = 10_000


@dataclass(frozen=True, slots=True)
class Breach:
    """Something wrong with the journal: at which line, and what."""

    position: int
    detail: str


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of lines, the latest first."""
    statement = select(JournalLine)
    for name in ("operation", "key_id", "person"):
        if name in filters:
            statement = statement.where(getattr(JournalLine, name) == filters[name])
    if "since_us" in filters:
        statement = statement.where(JournalLine.at_us >= filters["since_us"])
    rows, key = page(session, statement, [JournalLine.position], after, limit, descending=True)
    return [shown(row[0].body, row[0].hash) for row in rows], key


def shown(body: str, hash_: str) -> Record:
    """Return a line as the API shows it: its text as JSON, and its hash."""
    line: Record = orjson.loads(body)
    return line | {"hash": hash_}


def head(session: Session) -> Record:
    """Return position and hash of the last line; keep them elsewhere to see a cut."""
    found = session.get(JournalHead, 1)
    if found is None:
        return {"position": 0, "hash": BEGINNING}
    return {"position": found.position, "hash": found.hash}


def lines(session: Session) -> Iterator[tuple[str, str]]:
    """Yield (text, hash) of every line in order, some thousands at a time."""
    after = 0
    while True:
        some = session.execute(
            select(JournalLine.position, JournalLine.body, JournalLine.hash)
            .where(JournalLine.position > after)
            .order_by(JournalLine.position)
            .limit(LOT)
        ).all()
        for row in some:
            yield row.body, row.hash
        if len(some) < LOT:
            return
        after = some[-1].position


def exported(body: str, hash_: str) -> bytes:
    """Return one line of an export: the text that was hashed, within an object that names both."""
    return orjson.dumps({"hash": hash_, "line": body}) + b"\n"


def read_export(source: Iterable[bytes]) -> Iterator[tuple[str, str]]:
    """Yield (text, hash) of the lines of an export.

    Raises ValueError for a line that is not one of an export; the message says which.
    """
    for number, text in enumerate(source, 1):
        try:
            line = orjson.loads(text)
            yield line["line"], line["hash"]
        except (orjson.JSONDecodeError, KeyError, TypeError):
            raise ValueError(f"line {number} is not a line of a journal export") from None


def breaches(found: Iterable[tuple[str, str]], last: Record | None = None) -> Iterator[Breach]:
    """Yield whatever is wrong with lines in order; nothing if the chain is whole.

    `last` is the head they must lead to: position and hash.
    """
    position, before = 0, BEGINNING
    for body, hash_ in found:
        position += 1
        if hash_of(body) != hash_:
            yield Breach(position, "the line was changed: its text does not give its hash")
        try:
            line = orjson.loads(body)
            claimed, previous = line["position"], line["previous"]
        except (orjson.JSONDecodeError, KeyError, TypeError):
            yield Breach(position, "the line cannot be read")
            before = hash_
            continue
        if claimed != position:
            yield Breach(position, f"a line was removed, added or moved: this one says {claimed}")
            position = claimed
        elif previous != before:
            yield Breach(position, "it does not follow the line before it")
        before = hash_
    if last is not None and (last["position"], last["hash"]) != (position, before):
        yield Breach(position, f"the journal ends here, its head says at {last['position']}")
