"""Engine, sessions and the one place where SQLite's pragmas are set.

Two kinds of session: ``read`` sees one snapshot; ``write`` is one transaction that is committed at
the end or rolled back whole. On SQLite a write begins with BEGIN IMMEDIATE, so that two writers
queue instead of failing at their first write. The journal is WAL and synchronous is FULL: a
commit that was acknowledged survives a power cut.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.orm import Session, sessionmaker

from api.store import record_changes
from api.store.journal import Author, close_entry, open_entry

BUSY_TIMEOUT_MS = 30_000
# PostgreSQL, appendix A: disk_full; SQLite's names.
NO_ROOM = ("53100", "SQLITE_FULL", "SQLITE_IOERR_WRITE")
# A request takes one connection at a time, so that the server's threads bound their number.
_POOL: dict[str, Any] = {"pool_size": 16, "max_overflow": -1}


class Database:
    """One database, its connection pool and its two kinds of session."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.engine = _engine(url)
        # SQLite lets one writer in and the others poll; those of this process take turns instead,
        # so that none of many waits for ever.
        self._turn = threading.Lock() if self.is_sqlite else nullcontext()
        self._read = sessionmaker(self.engine, expire_on_commit=False, autoflush=False)
        # A writer waits for GRAPH_LOCK first and must then see what the one before it committed,
        # which a REPEATABLE READ snapshot taken before the wait would hide.
        level = {} if self.is_sqlite else {"isolation_level": "READ COMMITTED"}
        writing = self.engine.execution_options(writing=True, **level)
        self._write = sessionmaker(writing, expire_on_commit=False, autoflush=False)
        record_changes.watch_session(self._write)
        # Whether the last write found no room on the disk; readiness tries again then.
        self.full = False
        # What is to be brought up to date when records or recalls were written, before the commit.
        self.follow: Callable[[Session], object] | None = None

    @property
    def is_sqlite(self) -> bool:
        """Whether the engine is SQLite (else it is PostgreSQL)."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Open a session on one snapshot; what it changes is thrown away."""
        with self._read() as session:
            yield session

    @contextmanager
    def write(self, author: Author | None = None) -> Iterator[Session]:
        """Open a session that is one transaction: committed at the end, or rolled back whole.

        With an author the journal gets its line in the same transaction. Stored recalls that it may
        concern are marked, all of them if it did not say what it wrote; then `follow` is called.
        """
        try:
            with self._turn, self._write.begin() as session:
                if author is not None:
                    open_entry(session, author)
                yield session
                record_changes.settle(session)
                if record_changes.is_to_follow(session) and self.follow is not None:
                    self.follow(session)
                close_entry(session)
        except DBAPIError as error:
            self.full = self.full or native_name(error) in NO_ROOM
            raise
        self.full = False

    def write_if_free(self, write: Callable[[Connection], None]) -> bool:
        """Write what is not worth waiting for, all of it; return False if another writer was at it.

        Nothing is left behind then, and the caller may try again at a later request.
        """
        # One connection throughout: its patience is changed and must be given back.
        with self.engine.connect() as connection:
            patience = None
            if self.is_sqlite:
                patience = connection.exec_driver_sql("PRAGMA busy_timeout").scalar()
                connection.exec_driver_sql("PRAGMA busy_timeout = 0")
            try:
                write(connection)
                connection.commit()
            except OperationalError:
                connection.rollback()
                return False
            finally:
                if patience is not None:
                    connection.exec_driver_sql(f"PRAGMA busy_timeout = {int(patience)}")
        return True

    def dispose(self) -> None:
        """Close every pooled connection."""
        self.engine.dispose()


def native_name(error: Exception) -> str:
    """The engine's own name of an error: SQLSTATE, or SQLite's extended code."""
    origin: Any = getattr(error, "orig", None)
    return getattr(origin, "sqlstate", None) or getattr(origin, "sqlite_errorname", None) or ""


def _engine(url: str) -> Engine:
    parsed = make_url(url)
    # An error would print the values of its statement, hashes and secrets included, into the log.
    quiet = {"hide_parameters": True}
    if parsed.get_backend_name() == "sqlite":
        # One in memory belongs to its connection and is not pooled.
        pool = _POOL if parsed.database else {}
        waiting = {"timeout": BUSY_TIMEOUT_MS / 1000}
        engine = create_engine(parsed, connect_args=waiting, **quiet, **pool)
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    engine = create_engine(
        parsed.set(drivername="postgresql+psycopg"),
        pool_pre_ping=True,
        **_POOL,
        isolation_level="REPEATABLE READ",
        **quiet,
    )
    event.listen(engine, "handle_error", _keep_first_line)
    return engine


def _keep_first_line(context: Any) -> None:
    """Cut PostgreSQL's detail off an error: it repeats the row, with its values."""
    for error in (context.original_exception, context.sqlalchemy_exception):
        if error is not None and error.args:
            error.args = (str(error.args[0]).split("\n", 1)[0], *error.args[1:])


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    # The driver must not open transactions of its own accord: _begin_sqlite does it.
    connection.isolation_level = None
    cursor = connection.cursor()
    _write_ahead(cursor)
    for pragma in (
        "synchronous=FULL",
        "foreign_keys=ON",
        f"busy_timeout={BUSY_TIMEOUT_MS}",
        "cache_size=-65536",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _write_ahead(cursor: Any) -> None:
    """Put a new file into WAL mode; SQLite does not wait while another process does so."""
    deadline = time.monotonic() + BUSY_TIMEOUT_MS / 1000
    while True:
        try:
            cursor.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > deadline:
                raise
            time.sleep(0.02)


def _begin_sqlite(connection: Connection) -> None:
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
