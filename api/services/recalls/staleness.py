"""Whether a fresh recall of the same faults still finds what a stored one says.

A write marks the recalls that it may concern (``api.store.record_changes``): open and closed ones,
first looks and second ones. A marked one says "checking" until a fresh recall has been compared
with it (``api.services.recalls.rechecking``). `stale` is true exactly if the two differ in their
windows or in any list but `cleared`; the stored recall itself never changes. The history says when
the flag came, what for, and when the records returned to what they were.

A closed case that turns stale is to be reopened, by another look at its fault (`previous`) that has
read what made it stale.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import ColumnElement, Row, and_, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from api.rules import ENGINE_VERSION
from api.services.base.record import Record
from api.services.recalls.watch_rows import watch_of
from api.store.casework import RecallCase
from api.store.record_touch import Watched, concerns, touch_since
from api.store.record_watch import RecallDifference, RecallWatch, RecordChange
from api.store.tables import Recall, RecallEntry, RecallStale
from graph.lists import CLEARED
from graph.moments import text_of

CHECKING = "checking"
CLOSED = "closed"
# How two looks may differ apart from their entries.
OTHER_WAYS = ("windows", "impossible")
# What a flag says where no write is known to have caused it.
OTHER_ENGINE = f"this version of the program (engine {ENGINE_VERSION}) has not compared it yet"
Later = aliased(Recall)
LaterWatch = aliased(RecallWatch)


def flag(state: RecallWatch) -> bool | str:
    """Return `stale` as the API shows it: true, false, or "checking"."""
    return CHECKING if is_marked(state) else state.stale


def is_marked(state: RecallWatch) -> bool:
    """Whether a recall waits to be compared with a fresh one."""
    return state.marked_position is not None or state.engine_version != ENGINE_VERSION


def marked() -> ColumnElement[bool]:
    """Condition that a recall waits to be compared with a fresh one."""
    return or_(
        RecallWatch.marked_position.is_not(None), RecallWatch.engine_version != ENGINE_VERSION
    )


def flags(session: Session, recalls: Collection[int]) -> dict[int, bool | str]:
    """Return `stale` of several recalls."""
    states = select(RecallWatch).where(RecallWatch.recall_id.in_(list(recalls)))
    return {state.recall_id: flag(state) for state in session.scalars(states)}


def standing(session: Session, recall_id: int) -> Record:
    """Return what a case says of its recall: whether it is stale, and to be reopened.

    `looked_at_again` is the number of the look that has taken the place of a recall that no longer
    holds, or that may not: one that has read what made it so.
    """
    state = session.get_one(RecallWatch, recall_id)
    again = None
    if flag(state):
        newest = select(func.max(RecallStale.position)).where(RecallStale.recall_id == recall_id)
        known = max(session.scalar(newest) or 0, state.marked_position or 0)
        waits = watch_of(session, recall_id) if is_marked(state) else None
        again = _answered(session, recall_id, known, waits)
    return {
        "stale": flag(state),
        "reopen": recall_id in reopened(session, [recall_id]),
        "looked_at_again": None if again is None else session.get_one(Recall, again).number,
    }


def staleness(session: Session, recall_id: int) -> Record:
    """Return `stale` of a recall and what stands behind it, as the API shows them."""
    state = session.get_one(RecallWatch, recall_id)
    said: Record = {"checked_at": text_of(state.checked_us)}
    if is_marked(state):
        said["checking"] = {
            "since": text_of(state.marked_us or state.checked_us),
            "cause": cause_of(session, state.marked_position),
            "was": state.stale,
        }
    history = session.scalars(
        select(RecallStale).where(RecallStale.recall_id == recall_id).order_by(RecallStale.id)
    ).all()
    if state.stale and history:
        last = history[-1]
        said |= {"at": text_of(last.at_us), "cause": last.cause, "differences": last.differences}
    said["reopen"] = recall_id in reopened(session, [recall_id])
    said["history"] = [
        {
            "at": text_of(one.at_us),
            "stale": one.stale,
            "cause": one.cause,
            **({"counts": _counts(one.differences)} if one.stale else {}),
            **{name: one.differences[name] for name in OTHER_WAYS if name in one.differences},
        }
        for one in history
    ]
    return {"stale": flag(state), "staleness": said}


def last_differences(session: Session, recall_id: int) -> Record:
    """Return what the last comparison that changed the flag found; empty where none did."""
    flags = select(RecallStale.differences).where(RecallStale.recall_id == recall_id)
    return session.scalars(flags.order_by(RecallStale.id.desc()).limit(1)).first() or {}


def reopened(session: Session, recalls: Collection[int] | None = None) -> list[int]:
    """Return the recalls, newest first, that are closed and stale and not looked at again since."""
    newest = (
        select(func.max(RecallStale.position))
        .where(RecallStale.recall_id == RecallWatch.recall_id)
        .correlate(RecallWatch)
        .scalar_subquery()
    )
    statement = (
        select(RecallWatch.recall_id, newest.label("known"))
        .join(RecallCase, RecallCase.recall_id == RecallWatch.recall_id)
        .where(RecallCase.state == CLOSED, RecallWatch.stale.is_(True))
        .order_by(RecallWatch.recall_id.desc())
    )
    if recalls is not None:
        statement = statement.where(RecallWatch.recall_id.in_(list(recalls)))
    rows = session.execute(statement).all()
    return [row.recall_id for row in rows if _answered(session, row.recall_id, row.known) is None]


def stale_is(wanted: bool | str) -> ColumnElement[bool]:
    """Condition on a recall that its `stale` is true, false or "checking"."""
    known = and_(~marked(), RecallWatch.stale.is_(wanted is True))
    state = marked() if wanted == CHECKING else known
    return exists().where(RecallWatch.recall_id == Recall.id, state)


def cause_of(session: Session, change: int | None) -> str:
    """Return what a write was, in words."""
    found = None if change is None else session.get(RecordChange, change)
    return OTHER_ENGINE if found is None else found.cause


def _answered(
    session: Session, recall: int, known: int | None, waits: Watched | None = None
) -> int | None:
    """The later look at the fault of a recall that says what a fresh one would, or None.

    It does if it had read everything up to a position, or, being current itself, says the same of
    all of whom the recall says something else. Of a recall that `waits` to be compared only the
    first write since is known, so that nothing that concerns it may have come behind the look.
    """
    looks, frontier = dict[int, bool](), {recall}
    while frontier:
        rows = session.execute(
            select(Later.id, LaterWatch.position, LaterWatch.stale, LaterWatch.engine_version)
            .join(LaterWatch, LaterWatch.recall_id == Later.id)
            .where(Later.previous_id.in_(frontier))
            .order_by(Later.id)
        ).all()
        for row in rows:
            if row.position >= (known or 0) and not _came_behind(session, row, waits):
                return int(row.id)
        frontier = {row.id for row in rows} - looks.keys()
        looks |= {row.id: row.stale for row in rows}
    last = max(looks, default=None)
    if waits or last is None or looks[last] or not _says_the_same(session, last, recall):
        return None
    return last


def _came_behind(session: Session, look: Row[*tuple[Any, ...]], waits: Watched | None) -> bool:
    """Whether something that a look has not read may concern a recall that waits."""
    if waits is None:
        return False
    touched = touch_since(session, look.position)
    return look.engine_version != ENGINE_VERSION or concerns(session, touched, waits)


def _says_the_same(session: Session, look: int, recall: int) -> bool:
    """Whether a look has the entries of a fresh recall where a stored one has others."""
    if not last_differences(session, recall).keys().isdisjoint(OTHER_WAYS):
        return False
    joined = and_(
        RecallEntry.recall_id == look,
        RecallEntry.certificate_id == RecallDifference.certificate_id,
        RecallEntry.list_name != CLEARED,
    )
    fresh, said = RecallDifference, RecallEntry
    other = or_(
        func.coalesce(fresh.list_name, CLEARED) != func.coalesce(said.list_name, CLEARED),
        and_(fresh.list_name != CLEARED, fresh.body_hash != said.body_hash),
    )
    statement = (
        select(RecallDifference.certificate_id)
        .outerjoin(RecallEntry, joined)
        .where(RecallDifference.recall_id == recall, other)
    )
    return session.scalar(statement.limit(1)) is None


def _counts(found: Mapping[str, Any]) -> Record:
    return {kind: part["count"] for kind, part in found.items() if "count" in part}
