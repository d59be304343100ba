"""Whether the database can do its work: reachable, at the present schema, taking changes.

Choice: nothing is written to find out. PostgreSQL says whether a transaction would be read-only
(a standby, or a switch of the operator). SQLite is asked to change
no row, which is taken back; that another one writes at the moment is a good sign and nothing to
wait for.

Not checked: room on the disk.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing

from sqlalchemy import text

from api.store import migrate
from api.store.database import BUSY_TIMEOUT_MS, Database


def hindrance(database: Database) -> str | None:
    """Return why the database cannot do its work, as a sentence with the remedy; None if it can.

    Raises SQLAlchemyError if it cannot be reached.
    """
    if not migrate.is_current(database):
        return "The database is not at the current migration; run: tracehold migrate."
    if not _writable(database):
        return "The database is read-only at present; let this server write to it."
    return None


def _writable(database: Database) -> bool:
    if database.is_sqlite:
        return _sqlite_writable(database)
    with database.read() as session:
        return bool(session.scalar(text("SHOW transaction_read_only")) == "off")


def _sqlite_writable(database: Database) -> bool:
    # On the driver's own connection: a transaction of the engine would be begun by then.
    with closing(database.engine.raw_connection()) as connection:
        cursor = connection.cursor()
        cursor.execute("PRAGMA busy_timeout=0")
        try:
            # Of a read-only file SQLite makes a transaction that reads, and says so at a change.
            cursor.execute("BEGIN IMMEDIATE")
            cursor.execute("UPDATE alembic_version SET version_num = version_num WHERE 0")
        except sqlite3.OperationalError as error:
            return str(error.sqlite_errorname).startswith("SQLITE_BUSY")
        finally:
            connection.rollback()
            cursor.execute(f"PRAGMA busy_timeout={BUSY_TIMEOUT_MS}")
            cursor.close()
    return True
