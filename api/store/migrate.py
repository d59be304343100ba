"""Bring a database to the current schema, and say where it stands.

Alembic is driven from here, without a configuration file. Each migration run holds a lock and is
one transaction: two servers that start together do not both migrate, and a failed step leaves the
database as it was.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, text

from api.store.database import Database
from api.store.graph_lock import GRAPH_LOCK

SCRIPTS = Path(__file__).with_name("migrations")


def configuration(connection: Connection | None = None) -> Config:
    """Alembic's configuration, for one connection."""
    config = Config()
    config.set_main_option("script_location", str(SCRIPTS))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def upgrade(database: Database, revision: str = "head") -> None:
    """Apply every migration that the database lacks, up to a revision."""
    with database.engine.connect() as plain:
        # A step that rebuilds a table drops the old one; its rows must not be deleted elsewhere.
        _set_foreign_keys(plain, database, on=False)
        try:
            connection = plain.execution_options(writing=True)
            with connection.begin():
                if not database.is_sqlite:
                    connection.execute(
                        text("SELECT pg_advisory_xact_lock(:key)"), {"key": GRAPH_LOCK}
                    )
                command.upgrade(configuration(connection), revision)
        finally:
            _set_foreign_keys(plain, database, on=True)


def current(database: Database) -> str | None:
    """Revision of the database; None if it is empty."""
    with database.engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


@cache
def head() -> str | None:
    """Revision that this version of the program needs."""
    return ScriptDirectory(str(SCRIPTS)).get_current_head()


def is_current(database: Database) -> bool:
    """Whether the database is at the revision that this version of the program needs."""
    return current(database) == head()


def _set_foreign_keys(connection: Connection, database: Database, *, on: bool) -> None:
    if database.is_sqlite:
        # On the driver's own connection: within a transaction SQLite ignores this pragma.
        driver = connection.connection.dbapi_connection
        if driver is not None:
            driver.cursor().execute(f"PRAGMA foreign_keys={'ON' if on else 'OFF'}")
