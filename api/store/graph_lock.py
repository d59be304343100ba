"""One writer of the traceability graph at a time."""

from __future__ import annotations

from sqlalchemy import text
from sqlalchemy.orm import Session

# Any number will do, as long as every writer of the traceability graph takes the same lock.
GRAPH_LOCK = 7_203_118


def lock_graph(session: Session) -> None:
    """Let one writer of the traceability graph in at a time, until its transaction ends.

    What is in force for a use depends on every other calibration of the item, so two imports that
    each saw the other's absence could both resolve wrongly. SQLite's write lock does this already.
    """
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": GRAPH_LOCK})
