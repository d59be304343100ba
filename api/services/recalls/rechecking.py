"""A stored recall is compared with a fresh one, afterwards and while nobody waits.

Order of steps: `worked_out` reads a position and works the faults out again, both in one snapshot;
`keep` stores the outcome in a short transaction, and leaves a mark where another write that
concerns the recall came in between. So no writer waits for a recall, and none is overtaken.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass

import orjson
from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from api.errors import TraceholdError
from api.rules import ENGINE_VERSION
from api.services.base.record import Record
from api.services.feed import changes
from api.services.recalls.differences import (
    Seen,
    bounds_of,
    differences,
    differing,
    found_entries,
    stored_entries,
    windows_of,
)
from api.services.recalls.giving_back import listed_before
from api.services.recalls.newcomers import nothing_new
from api.services.recalls.run import Answer, again
from api.services.recalls.staleness import (
    OTHER_WAYS,
    cause_of,
    is_marked,
    last_differences,
    marked,
)
from api.services.recalls.watch_rows import Elsewhere, keep_elsewhere, watch, watch_of
from api.services.recalls.watched import watched
from api.store import leases
from api.store.database import Database
from api.store.graph_lock import lock_graph
from api.store.links import Window
from api.store.record_changes import position
from api.store.record_touch import (
    Watched,
    concerns,
    concerns_of,
    first_concern,
    touch_since,
    watching,
)
from api.store.record_watch import RecallWatch
from api.store.tables import Recall, RecallStale

Clock = Callable[[], int]
# The work that one process does for all, and how long nobody else may take it over.
WORK, LEASE_US = "recalls", 20_000_000
MOST_CAUSES = 5


@dataclass(frozen=True, slots=True)
class Exact:
    """How a stored recall compares with a fresh one, as read at a position.

    `elsewhere` gives, by certificate, what the fresh one says where it says something else.
    """

    recall_id: int
    position: int
    result_hash: str
    differences: Record
    elsewhere: Elsewhere
    watched: Watched
    cause: str

    @property
    def stale(self) -> bool:
        """Whether the two differ where it counts."""
        return bool(self.elsewhere) or not self.differences.keys().isdisjoint(OTHER_WAYS)


def recheck(database: Database, recall_id: int, clock: Clock) -> bool | None:
    """Compare a stored recall with a fresh one; return its flag, None while it stays "checking"."""
    with database.read() as session:
        read_at = position(session)
        state, stored = session.get_one(RecallWatch, recall_id), session.get_one(Recall, recall_id)
        as_it_was = (
            state.engine_version == ENGINE_VERSION
            and state.checked_position < read_at
            and nothing_new(session, state, stored, clock())
        )
        exact = None if as_it_was else worked_out(session, recall_id, clock())
    with database.write() as session:
        if exact is None:
            return _keep_as_it_was(session, recall_id, read_at, clock())
        return keep(session, exact, clock())


def recheck_marked(database: Database, clock: Clock) -> Iterator[tuple[int, bool | None]]:
    """Compare every recall that is marked, the longest marked first; each once."""
    with database.read() as session:
        order = (RecallWatch.marked_position, RecallWatch.recall_id)
        waiting = session.scalars(select(RecallWatch.recall_id).where(marked()).order_by(*order))
        keys = list(waiting)
    for key in keys:
        yield key, recheck(database, key, clock)


def recheck_leased(
    database: Database, holder: str, clock: Clock
) -> Iterator[tuple[str, bool | None]]:
    """Compare every marked recall unless another process does; yields numbers and flags.

    The lease is taken only where something waits, held while it goes on, and given back.
    """
    if not is_waiting(database):
        return
    with leases.held(database, WORK, holder, clock, LEASE_US) as mine:
        for key, flag in recheck_marked(database, clock) if mine else ():
            with database.read() as session:
                number = session.get_one(Recall, key).number
            yield number, flag


def is_waiting(database: Database) -> bool:
    """Whether any recall waits to be compared with a fresh one."""
    with database.read() as session:
        return session.scalar(select(exists().where(marked()))) or False


def begin_watch(session: Session, stored: Recall, seen: Watched, read_at: int, now_us: int) -> None:
    """Watch a recall that is being stored, which had read up to a position.

    If something that concerns it was written since then, it is marked from the start.
    """
    state = RecallWatch(
        recall_id=stored.id,
        position=read_at,
        checked_position=read_at,
        checked_us=now_us,
        engine_version=ENGINE_VERSION,
        stale=False,
    )
    session.add(state)
    session.flush()
    watch(session, stored.id, seen)
    _mark(session, state, seen, now_us)


def worked_out(session: Session, recall_id: int, now_us: int) -> Exact:
    """Compare a stored recall with a fresh one, in the snapshot of this session."""
    read_at = position(session)
    stored = session.get_one(Recall, recall_id)
    before = stored_entries(session, recall_id)
    found: Record = {}
    after: dict[int, Seen] = {}
    sought: Collection[Window] = ()
    result_hash = ""
    try:
        answer = again(session, stored, now_us)
    except TraceholdError as error:
        found = {"impossible": error.detail}  # what is faulty cannot be found as it was
        listed = before.keys()
    else:
        after, sought, result_hash = found_entries(answer), answer.sought, answer.result_hash
        found, listed = _windows(stored, answer), after.keys()
    other = differing(before, after)
    looked_at = listed | listed_before(session, stored.previous_id)
    seen = watched(session, stored.faults, sought, looked_at)
    return Exact(
        recall_id,
        read_at,
        result_hash,
        differences(session, before, after, other) | found,
        {key: after.get(key) for key in other},
        seen,
        _cause(session, recall_id, seen),
    )


def keep(session: Session, exact: Exact, now_us: int) -> bool | None:
    """Store what was worked out; return the flag, or None while the recall stays "checking".

    Nothing is stored if somebody else has worked it out on later records meanwhile.
    """
    lock_graph(session)
    state = session.get_one(RecallWatch, exact.recall_id)
    if state.checked_position <= exact.position:
        moved = keep_elsewhere(session, exact.recall_id, exact.elsewhere)
        if moved or state.stale != exact.stale or _told_otherwise(session, exact):
            _note(session, exact, now_us)
        watch(session, exact.recall_id, exact.watched)
        state.checked_position, state.checked_us = exact.position, now_us
        state.stale, state.engine_version = exact.stale, ENGINE_VERSION
        state.marked_position = state.marked_us = None
        _mark(session, state, exact.watched, now_us)
    return None if is_marked(state) else state.stale


def _keep_as_it_was(session: Session, recall_id: int, read_at: int, now_us: int) -> bool | None:
    """Store that nothing up to a position changed a recall; what it watches is still the same."""
    lock_graph(session)
    state = session.get_one(RecallWatch, recall_id)
    if state.checked_position <= read_at:
        state.checked_position, state.checked_us = read_at, now_us
        state.marked_position = state.marked_us = None
        if recall_id in watching(session, touch_since(session, read_at)):
            _mark(session, state, watch_of(session, recall_id), now_us)
        session.flush()
    return None if is_marked(state) else state.stale


def _mark(session: Session, state: RecallWatch, seen: Watched, now_us: int) -> None:
    """Mark a recall if something that concerns it came behind what was read for it."""
    if concerns(session, touch_since(session, state.checked_position), seen):
        state.marked_position = first_concern(session, state.checked_position, seen)
        state.marked_us = None if state.marked_position is None else now_us
    session.flush()


def _cause(session: Session, recall_id: int, seen: Watched) -> str:
    """Return in words what concerned a recall since it was compared the last time.

    Which of several writes changed it nobody can say: each alone might not have.
    """
    state = session.get_one(RecallWatch, recall_id)
    found = concerns_of(session, state.checked_position, seen, MOST_CAUSES + 1)
    keys: list[int | None] = [*found]
    told = dict.fromkeys(cause_of(session, one) for one in keys or [state.marked_position])
    more = ["and others"] if len(found) > MOST_CAUSES else []
    return "; ".join([*list(told)[:MOST_CAUSES], *more])


def _windows(stored: Recall, answer: Answer) -> Record:
    """Return the windows of both where they differ."""
    # As they are shown, so that the two are of one form.
    then, now = orjson.loads(stored.head), orjson.loads(orjson.dumps(answer.head))
    if bounds_of(then) == bounds_of(now):
        return {}
    return {"windows": {"from": windows_of(then), "to": windows_of(now)}}


def _told_otherwise(session: Session, exact: Exact) -> bool:
    """Whether the last flag tells of other windows, or of another obstacle, than there are now."""
    told, known = (
        [found.get(name) for name in OTHER_WAYS]
        for found in (last_differences(session, exact.recall_id), exact.differences)
    )
    return told != known


def _note(session: Session, exact: Exact, now_us: int) -> None:
    """Write the history on, and tell the feed."""
    session.add(
        RecallStale(
            recall_id=exact.recall_id,
            at_us=now_us,
            cause=exact.cause,
            result_hash=exact.result_hash,
            differences=exact.differences if exact.stale else {},
            stale=exact.stale,
            position=exact.position,
        )
    )
    word = "stale" if exact.stale else "current"
    changes.note(session, "recall.stale", now_us, recall_id=exact.recall_id, detail=word)
