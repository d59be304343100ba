"""A work that one process does for all: whoever holds its lease does it, until it runs out.

A lease is short and renewed while the work goes on, so that one whose holder died or stands still
is free again within it. One that ends later than any could was taken by another clock and counts
for nothing. Two who hold it at once, since one was slower than its lease, do the work twice and no
harm: each stores what it found in a transaction that looks whether it is still wanted.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from sqlalchemy import delete, or_, select, update
from sqlalchemy.exc import DBAPIError

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
                or_(
                    WorkLease.holder == holder,
                    WorkLease.until_us <= now_us,
                    WorkLease.until_us > now_us + for_us,
                ),
            )
            .values(holder=holder, until_us=now_us + for_us)
            .execution_options(synchronize_session=False)
            .returning(WorkLease.name)
        )
        return taken.first() is not None


@contextmanager
def held(
    database: Database, name: str, holder: str, clock: Callable[[], int], for_us: int
) -> Iterator[bool]:
    """Hold the lease of a work, renewed four times a lease; yields False if another holds it."""
    if not take(database, name, holder, clock(), for_us):
        yield False
        return
    done = threading.Event()

    def renew() -> None:
        while not done.wait(for_us / 4e6):
            try:
                take(database, name, holder, clock(), for_us)
            except DBAPIError:
                continue  # the work itself will say what is wrong with the database

    renewing = threading.Thread(target=renew, name=f"lease of {name}", daemon=True)
    renewing.start()
    try:
        yield True
    finally:
        done.set()
        renewing.join()
        release(database, name, holder)


def release(database: Database, name: str, holder: str) -> None:
    """Give a lease back before it runs out."""
    with database.write() as session:
        session.execute(
            delete(WorkLease)
            .where(WorkLease.name == name, WorkLease.holder == holder)
            .execution_options(synchronize_session=False)
        )


def is_free(database: Database, name: str, now_us: int, for_us: int) -> bool:
    """Whether nobody holds the lease of a work, which lasts so long when it is taken."""
    held_now = select(WorkLease.name).where(
        WorkLease.name == name, WorkLease.until_us > now_us, WorkLease.until_us <= now_us + for_us
    )
    with database.read() as session:
        return session.scalar(held_now) is None
