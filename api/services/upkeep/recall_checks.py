"""Whether stored recalls say rightly that they still hold, and hear of whatever could change that.

A recall that waits to be compared says so, and is left alone. Of the others, newest first up to a
number, each is worked out anew: its flag and its differences must be what that gives, it must watch
everything that this rests on, and no write behind its last comparison may concern it.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.services.recalls.rechecking import Exact, worked_out
from api.services.recalls.staleness import marked
from api.services.recalls.watch_rows import elsewhere_of, watch_of
from api.store.record_changes import position
from api.store.record_touch import Watched, concerns, touch_since
from api.store.record_watch import RecallWatch
from api.store.tables import Recall

Found = tuple[str, str]


def unwatched(session: Session) -> Iterator[Found]:
    """Yield stored recalls of which nothing says whether they still hold."""
    watched = select(RecallWatch.recall_id)
    for number in session.scalars(select(Recall.number).where(Recall.id.not_in(watched))):
        yield number, "nothing says whether it still holds"


def waiting(session: Session) -> int:
    """Return how many recalls wait to be compared with a fresh one."""
    return session.scalar(select(func.count()).select_from(RecallWatch).where(marked())) or 0


def some(session: Session, most: int) -> list[int]:
    """Return recalls that wait for nothing, newest first, up to a number."""
    settled = select(RecallWatch.recall_id).where(~marked())
    return list(session.scalars(settled.order_by(RecallWatch.recall_id.desc()).limit(most)))


def wrong(session: Session, recall_id: int, now_us: int) -> Iterator[Found]:
    """Yield what a recall that waits for nothing says, watches or overlooked wrongly."""
    state = session.get_one(RecallWatch, recall_id)
    number = session.get_one(Recall, recall_id).number
    exact = worked_out(session, recall_id, now_us)
    if exact.stale != state.stale:
        said = "stale" if state.stale else "not stale"
        yield number, f"it says {said}, and a fresh recall shows otherwise"
    elif exact.elsewhere != elsewhere_of(session, recall_id):
        yield number, "its differences are not those of a fresh recall"
    kept = watch_of(session, recall_id)
    yield from ((number, detail) for detail in _missing(kept, exact))
    if _overlooked(session, state.checked_position, kept):
        yield number, "it was not marked by a write that may change it"


def _missing(kept: Watched, exact: Exact) -> Iterator[str]:
    for name in ("items", "windows", "words"):
        lacking = getattr(exact.watched, name) - getattr(kept, name)
        if lacking:
            yield f"it does not watch {len(lacking)} of its {name}"


def _overlooked(session: Session, after: int, kept: Watched) -> bool:
    """Whether a write behind a position concerns a recall; each is looked at by itself."""
    if not concerns(session, touch_since(session, after), kept):
        return False
    return any(
        concerns(session, touch_since(session, key - 1, key), kept)
        for key in range(after + 1, position(session) + 1)
    )
