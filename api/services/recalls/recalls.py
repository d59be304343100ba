"""Recalls as they are kept: stored under a number, read again, never changed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import orjson
from sqlalchemy import Select, func, insert, select
from sqlalchemy.orm import Session

from api.errors import NotFound
from api.rules import ENGINE_VERSION
from api.services.base.record import Record
from api.services.casework import cases
from api.services.recalls.differences import differences, found_entries, hash_of, stored_entries
from api.services.recalls.giving_back import listed_before
from api.services.recalls.rechecking import begin_watch
from api.services.recalls.run import Answer, Entry
from api.services.recalls.staleness import flags, reopened, stale_is, staleness
from api.services.recalls.watched import watched
from api.store.graph_lock import lock_graph
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.record_changes import to_follow
from api.store.record_touch import concerns, touch_since
from api.store.tables import Recall, RecallEntry
from graph.lists import LISTS
from graph.moments import text_of

# Above this many entries an answer carries the summary and links instead of the lists.
ENTRIES_AT_ONCE = 5_000
LOT = 2_000


class Overtaken(Exception):
    """Something that concerns an answer was written after it had been read."""


def store(
    session: Session,
    answer: Answer,
    previous: int | None,
    now_us: int,
    read_at: int,
    *,
    overtaken: bool = False,
) -> Record:
    """Store an answer under a new number; return its head as the API shows it.

    `read_at` is the position of the writes that the answer has seen, read in its snapshot. What
    came between and concerns it is not overlooked: the answer is refused, or with `overtaken`
    stored with the mark of a recall that waits to be compared with a fresh one.

    Raises
    ------
    Overtaken
        If something came between; nothing is stored.
    """
    lock_graph(session)  # numbers are given out one after the other, without gaps
    head = answer.head
    entered = {one.certificate for found in answer.lists.values() for one in found}
    entered |= listed_before(session, previous)
    seen = watched(session, answer.faults, answer.sought, entered)
    if not overtaken and concerns(session, touch_since(session, read_at), seen):
        raise Overtaken
    if previous is not None:
        before = stored_entries(session, previous)
        head = head | {"differences": differences(session, before, found_entries(answer))}
    count = session.scalar(select(func.count()).select_from(Recall)) or 0
    stored = Recall(
        number=f"R-{count + 1:05d}",
        created_us=now_us,
        as_of_us=answer.as_of_us,
        engine_version=ENGINE_VERSION,
        input_hash=answer.input_hash,
        result_hash=answer.result_hash,
        previous_id=previous,
        faults=_jsonable(answer.faults),
        head=orjson.dumps(head).decode(),
    )
    session.add(stored)
    session.flush()
    hashes = {"input_hash": answer.input_hash, "result_hash": answer.result_hash}
    journal_note(session, "recall", recall=stored.id, number=stored.number, **hashes)
    for name in LISTS:
        for start in range(0, len(answer.lists[name]), LOT):
            lot = answer.lists[name][start : start + LOT]
            rows = [_row(stored.id, name, n, one) for n, one in enumerate(lot, start)]
            session.execute(_INSERT, rows)
    begin_watch(session, stored, seen, read_at, now_us)
    to_follow(session)
    cases.opened(session, stored.id, now_us)
    return head_answer(stored) | staleness(session, stored.id)


# Of the table and not of the class: each row would be looked through once more for what it lacks.
_INSERT = insert(RecallEntry.__table__)  # type: ignore[arg-type]


def _row(recall: int, name: str, position: int, one: Entry) -> Record:
    return {
        "recall_id": recall,
        "list_name": name,
        "position": position,
        "certificate_id": one.certificate,
        "verdict_changes": one.verdict_changes,
        "generation": one.rank[0],
        "item": one.item,
        "customer": one.customer,
        "shift_over_U": one.shift_over_U,
        "shift_over_tolerance": one.shift_over_tolerance,
        "body": one.text,
        "body_hash": hash_of(one.text),
        "links": one.links,
    }


def get(session: Session, key: int) -> Recall:
    """Return the stored recall with this id."""
    stored = session.get(Recall, key)
    if stored is None:
        raise NotFound(f"recall {key} does not exist")
    return stored


def second_looks(session: Session, key: int) -> list[Record]:
    """Return id and number of the recalls that name this one as the previous, oldest first."""
    later = select(Recall.id, Recall.number).where(Recall.previous_id == key).order_by(Recall.id)
    return [{"id": row.id, "number": row.number} for row in session.execute(later)]


def head_answer(stored: Recall) -> Record:
    """Return a stored recall without its lists."""
    return {
        "id": stored.id,
        "number": stored.number,
        "created_at": text_of(stored.created_us),
        "as_of": text_of(stored.as_of_us),
        "previous": stored.previous_id,
        "input_hash": stored.input_hash,
        "result_hash": stored.result_hash,
        "faults": stored.faults,
        **orjson.loads(stored.head),
    }


def preview_answer(answer: Answer) -> Record:
    """Return an answer that was not stored, without its lists."""
    return {
        "as_of": text_of(answer.as_of_us),
        "input_hash": answer.input_hash,
        "result_hash": answer.result_hash,
        "faults": _jsonable(answer.faults),
        **answer.head,
    }


def entries(session: Session, key: int, name: str) -> list[str]:
    """Return the entries of one list of a stored recall as JSON text."""
    return list(session.scalars(_entries(key, name).order_by(RecallEntry.position)))


def _entries(key: int, name: str) -> Select[str]:
    return select(RecallEntry.body).where(
        RecallEntry.recall_id == key, RecallEntry.list_name == name
    )


def _jsonable(faults: list[Record]) -> list[Record]:
    shown: list[Record] = orjson.loads(
        orjson.dumps(faults, default=lambda value: format(value, "f"))
    )
    return shown


def texts(answer: Answer) -> dict[str, list[str]]:
    """Return the entries of an answer as the JSON text that is stored and sent."""
    return {name: [one.text for one in answer.lists[name]] for name in LISTS}


def fits_at_once(summary: Record) -> bool:
    """Whether an answer carries its lists, or links to them."""
    return sum(int(summary[name]) for name in LISTS) <= ENTRIES_AT_ONCE


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of recalls, newest first, without their lists."""
    statement = select(Recall)
    if "stale" in filters:
        statement = statement.where(stale_is(filters["stale"]))
    if filters.get("reopen"):
        statement = statement.where(Recall.id.in_(reopened(session)))
    rows, key = page(session, statement, [Recall.id], after, limit, descending=True)
    stale = flags(session, [row[0].id for row in rows])
    return [head_answer(row[0]) | {"stale": stale[row[0].id]} for row in rows], key
