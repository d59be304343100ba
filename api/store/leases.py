"""A work that one process does for all: whoever holds its lease does it, until it runs out.

Two who hold it at once, since one was slower than its lease, do the work twice and no harm: each
stores what it found in a transaction that looks whether it is still wanted.
"""

from __future__ import annotations

from sqlalchemy import delete, or_, select, update

from api.store.database import Database
from api.store.record_watch import WorkLease
from api.store.upsert import add_if_absent


def take(database: Database, name: str, holder: str, now_us: int, for_us: int) -> bool:
    """Take or renew the lease of a work; return False if another holds it."""
    with database.write() as session:
        nobody = {"name": name, "holder": holder, "until_us": 0}
        add_if_absent(session, WorkLease, nobody, ["name"])
        taken = session.execute(
            update(WorkLease)
            .where(
                WorkLease.name == name,
                or_(WorkLease.holder == holder, WorkLease.until_us <= now_us),
            )
            .values(holder=holder, until_us=now_us + for_us)
            .execution_options(synchronize_session=False)
            .returning(WorkLease.name)
        )
        return taken.first() is not None


def release(database: Database, name: str, holder: str) -> None:
    """Give a lease back before it runs out."""
    with database.write() as session:
        session.execute(
            delete(WorkLease)
            .where(WorkLease.name == name, WorkLease.holder == holder)
            .execution_options(synchronize_session=False)
        )


def is_free(database: Database, name: str, now_us: int) -> bool:
    """Whether nobody holds the lease of a work."""
    held = select(WorkLease.name).where(WorkLease.name == name, WorkLease.until_us > now_us)
    with database.read() as session:
        return session.scalar(held) is None
