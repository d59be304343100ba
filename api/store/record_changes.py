"""Where every write of the laboratory's records says what it touched, and who must hear of it.

``touched`` is called last in a write, says what was written, and marks every stored recall that it
may concern, open or closed, by what each recall watches (``api.store.record_watch``). Too many
marks cost work, one too few would lose a certificate: what a mark means is worked out afterwards
(``api.services.recalls.staleness``). A transaction that wrote to a table of the graph and said
nothing, or wrote again afterwards, marks every recall (``watch_session``, ``settle``).
"""

from __future__ import annotations

import time
from collections.abc import Collection
from typing import Any

from sqlalchemy import event, insert, update
from sqlalchemy.orm import ORMExecuteState, Session, sessionmaker

from api.store.chunks import chunks
from api.store.graph_lock import lock_graph
from api.store.reading import SessionReader
from api.store.record_touch import Touch, touch_since, watching
from api.store.record_watch import RecallWatch, RecordChange, RecordChangeItem
from api.store.tables import (
    Certificate,
    Check,
    Composition,
    Item,
    Result,
    Usage,
)

# Written, they may change what a recall finds; of an item only a change can, not its first record.
GRAPH = (Certificate, Usage, Result, Composition, Check)
_UNSAID = "tracehold.graph_written"
_FOLLOW = "tracehold.to_follow"
UNKNOWN_CAUSE = "records were changed"


def position(session: Session) -> int:
    """Position of the last write that this session sees."""
    rows = SessionReader(session).rows("SELECT max(id) FROM record_change")
    return next(rows)[0] or 0


def touched(
    session: Session,
    cause: str,
    now_us: int,
    *,
    inserted_from: int | None = None,
    certificates: Collection[int] = (),
    items: Collection[int] = (),
    everything: bool = False,
) -> None:
    """Say what this transaction wrote, and mark the stored recalls that it may concern.

    Parameters
    ----------
    session : Session
        The transaction; it takes the graph lock, and what it holds is flushed.
    cause : str
        The write in words, as the history of a recall will give it.
    now_us : int
        Instant of the write, in microseconds.
    inserted_from : int, optional
        First key of certificates that are new, all later keys being new too.
    certificates : collection of int
        Keys of certificates that were changed: their status, uses or results.
    items : collection of int
        Keys of items concerned otherwise: part and assembly of a holding, item and reference of a
        check, an item whose type changed, what a removed use named.
    everything : bool
        Whether it concerns every recall.

    With nothing but a cause it says that what was written cannot change what a recall finds.
    """
    lock_graph(session)
    session.flush()
    before = position(session)
    rows = [_row(cause, now_us, first_certificate=c, last_certificate=c) for c in certificates]
    if inserted_from is not None:
        last = next(SessionReader(session).rows("SELECT max(id) FROM certificate"))[0]
        rows.append(
            _row(
                cause,
                now_us,
                first_certificate=inserted_from,
                last_certificate=last,
                inserted=True,
            )
        )
    if everything or (items and not rows):
        rows.append(_row(cause, now_us, everything=everything))
    if rows:
        keys = session.scalars(insert(RecordChange).returning(RecordChange.id), rows).all()
        named = [{"change_id": max(keys), "item_id": item} for item in sorted(set(items))]
        for lot in chunks(named):
            session.execute(insert(RecordChangeItem), lot)
        _mark(session, touch_since(session, before), min(keys), now_us)
    session.info[_UNSAID] = False
    to_follow(session)


def to_follow(session: Session) -> None:
    """Let what follows from the records be brought up to date before this transaction ends."""
    session.info[_FOLLOW] = True


def is_to_follow(session: Session) -> bool:
    """Whether something was written that more follows from, and is about to be committed."""
    transaction = session.get_transaction()
    is_open = transaction is not None and transaction.is_active
    return bool(session.info.pop(_FOLLOW, False)) and is_open


def watch_session(maker: sessionmaker[Session]) -> None:
    """Let sessions of a maker notice that they write to a table of the graph."""
    event.listen(maker, "do_orm_execute", _executing)
    event.listen(maker, "before_flush", _flushing)


def settle(session: Session) -> None:
    """Mark every recall if this transaction wrote to the graph and said nothing after it."""
    transaction = session.get_transaction()
    if transaction is None or not transaction.is_active:
        return  # rolled back on purpose
    session.flush()
    if session.info.pop(_UNSAID, False):
        touched(session, UNKNOWN_CAUSE, time.time_ns() // 1000, everything=True)
        session.info.pop(_UNSAID, None)


def _executing(state: ORMExecuteState) -> None:
    if not (state.is_insert or state.is_update or state.is_delete):
        return
    mapper = state.bind_mapper
    if mapper is not None and _counts(mapper.class_, new=state.is_insert):
        state.session.info[_UNSAID] = True


def _flushing(session: Session, _context: Any, _instances: Any) -> None:
    changed = [one for one in session.dirty if session.is_modified(one)]
    if any(_counts(type(one), new=False) for one in (*changed, *session.deleted)) or any(
        _counts(type(one), new=True) for one in session.new
    ):
        session.info[_UNSAID] = True


def _counts(table: type, *, new: bool) -> bool:
    return table in GRAPH or (table is Item and not new)


def _row(cause: str, now_us: int, **facts: Any) -> dict[str, Any]:
    plain = {"first_certificate": None, "last_certificate": None}
    said = {"cause": cause, "at_us": now_us, "inserted": False, "everything": False}
    return plain | said | facts


def _mark(session: Session, touch: Touch, first: int, now_us: int) -> None:
    """Mark the recalls that may be concerned and bear no mark yet."""
    for some in chunks(sorted(watching(session, touch, unmarked=True))):
        session.execute(
            update(RecallWatch)
            .where(RecallWatch.recall_id.in_(some))
            .values(marked_position=first, marked_us=now_us)
            .execution_options(synchronize_session=False)
        )
