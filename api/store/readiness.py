"""Whether the database can do its work: reachable, at the present schema, taking changes.

Choice: nothing is written to find out, save where the last write of this process found no room. One
row is written then, so that a server is ready again by itself once there is some. PostgreSQL says
whether a transaction would be read-only (a standby, or a switch of the operator). SQLite is asked
to change no row, which is taken back; that another one writes at the moment is a good sign and
nothing to wait for. The disk of a SQLite file is asked for its room, and the file for its pages.

Not checked: the disk of a PostgreSQL server, as long as nothing of this process was refused.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from shutil import disk_usage

from sqlalchemy import Connection, text

from api.store import migrate
from api.store.database import BUSY_TIMEOUT_MS, Database

# What SQLite's write-ahead log takes before it is copied into the file (1000 pages), and as much
# again for the file itself; common practice, no source.
LEAST_ROOM = 8 * 1024 * 1024


def hindrance(database: Database) -> str | None:
    """Return why the database cannot do its work, as a sentence with the remedy; None if it can.

    Raises SQLAlchemyError if it cannot be reached.
    """
    if not migrate.is_current(database):
        return "The database is not at the current migration; run: tracehold migrate."
    if not _writable(database):
        return "The database is read-only at present; let this server write to it."
    if not _has_room(database):
        return "The disk of the database is full; make room on it."
    return None


def _has_room(database: Database) -> bool:
    if database.is_sqlite and not _sqlite_has_room(database):
        return False
    if database.full and database.write_if_free(_one_row):
        database.full = False
    return not database.full


def _one_row(connection: Connection) -> None:
    """Write the lease of no work, as `api.store.leases` would."""
    name = {"name": "room"}
    connection.execute(text("DELETE FROM work_lease WHERE name = :name"), name)
    insert = "INSERT INTO work_lease (name, holder, until_us) VALUES (:name, 'nobody', 0)"
    connection.execute(text(insert), name)


def _sqlite_has_room(database: Database) -> bool:
    with database.engine.connect() as connection:
        pages, most, free = (
            int(connection.exec_driver_sql(f"PRAGMA {name}").scalar() or 0)
            for name in ("page_count", "max_page_count", "freelist_count")
        )
    folder = Path(database.engine.url.database or "").parent
    room = not folder.is_dir() or disk_usage(folder).free >= LEAST_ROOM
    return room and (pages < most or free > 0)


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
