"""A fault is reported: worked out while others go on writing, and stored so that none is overtaken.

The recall reads one snapshot, in which it notes the position of the last write, and is stored in
another transaction. What was written between the two and concerns it is found there, by its
position; then the recall is worked out again, and after some attempts stored as one that waits to
be compared with a fresh one: late, but not wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import NamedTuple

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.recalls import recalls, run
from api.services.recalls.run import Answer
from api.store.record_changes import position

ATTEMPTS = 3


class Looked(NamedTuple):
    """A recall as worked out, and the position of the last write that it has seen."""

    answer: Answer
    read_at: int


Opened = Callable[[], AbstractContextManager[Session]]


def look(session: Session, request: Record, now_us: int) -> Looked:
    """Work out a recall in the snapshot of a session."""
    read_at = position(session)
    return Looked(run.recall(session, request, now_us), read_at)


def reported(
    reading: Opened,
    writing: Opened,
    request: Record,
    clock: Callable[[], int],
    looked: Looked | None = None,
) -> tuple[Answer, Record]:
    """Work out a recall and store it; return the answer and its head as it is kept.

    `reading` opens a session on one snapshot, `writing` one that is a transaction. A transaction
    that was opened for an attempt which came too late is rolled back. What was `looked` at already
    is the first attempt.

    Raises as `run.recall` and `recalls.store` do.
    """
    for attempt in range(1, ATTEMPTS + 1):
        if looked is None:
            with reading() as session:
                looked = look(session, request, clock())
        with writing() as session:
            try:
                head = recalls.store(
                    session,
                    looked.answer,
                    request.get("previous"),
                    clock(),
                    looked.read_at,
                    overtaken=attempt == ATTEMPTS,
                )
            except recalls.Overtaken:
                session.rollback()
                looked = None
                continue
        return looked.answer, head
    raise AssertionError("the last attempt stores")
