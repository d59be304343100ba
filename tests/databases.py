"""One open database for each worker and engine, that is emptied or filled in a moment.

What takes long is done once a worker: a schema is migrated, a connection opened, each statement
compiled for the engine, a laboratory imported. A test then finds the tables empty, or filled with a
copy of a laboratory that an earlier one has built: a file on SQLite; on PostgreSQL, where a new
database from a template takes ten times as long, the rows of a second schema.

Choice: nothing here is flushed to the disk, since what a test writes need not outlive the machine.
Tests of durability open databases of their own.
"""

from __future__ import annotations

import os
import shutil
import time
import uuid
import zlib
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from copy import deepcopy
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from api.store import migrate
from api.store.database import Database
from api.store.tables import Base

POSTGRES = os.environ.get("TRACEHOLD_TEST_POSTGRES", "")
ENGINES = ("sqlite", *(["postgresql"] if POSTGRES else []))
EMPTY = "empty"
# Tests of these go through a door of the product (HTTP, the terminal, a file), or ask of a store
# what others ask too; what they look at is not the engine's. Each is tried on one engine, drawn by
# its name, so that every file meets both; --each-engine tries all on both. What is left are the
# store, recalls, upkeep, and the searches that hold a promise on each engine.
DOORS = (
    "tests/api/commands/",
    "tests/api/pages/",
    "tests/api/resources/",
    *(
        f"tests/api/services/{room}/"
        for room in (
            "access",
            "alerts",
            "base",
            "casework",
            "certificates",
            "decisions",
            "evidence",
            "feed",
            "grounds",
            "imports",
            "life",
            "notices",
            "overview",
            "records",
            "setups",
            "uncertainty",
        )
    ),
    "tests/api/test_",
    "tests/api/web/",
    "tests/contracts/",
    "tests/fixtures/",
    "tests/fuzz/",
    "tests/graph/",
    *(
        f"tests/whole/test_{story}"
        for story in (
            "bad_input",
            "checks_in_doubt",
            "customer_keys",
            "faults_beyond_items",
            "first_lists",
            "hard_to_hear",
            "import_forms",
            "instants",
            "late_data",
            "limits",
            "nested_assemblies",
            "recall_from_snapshot",
            "recall_properties",
            "refused_records",
            "second_looks",
            "setup_comparison_story",
            "stale_recalls.py::test_every_kind",
            "stopping",
            "worked_by_hand",
            "worked_laboratories",
            "worst_day",
        )
    ),
)
TABLES = [table.name for table in Base.metadata.sorted_tables]


def shared(examples: int) -> int:
    """How many of the examples of a property each engine tries, where the engine decides nothing.

    A search that begins elsewhere on each engine sees more than the same one twice.
    """
    return examples // len(ENGINES)


def drawn(test: str) -> str:
    """Return the engine on which a test is tried, by its address without the engine's name."""
    return ENGINES[zlib.crc32(test.encode()) % len(ENGINES)]


class Place(ABC):
    """A worker's database on one engine, and what it held at some time, by name."""

    database: Database

    def __init__(self) -> None:
        self._told: dict[str, Any] = {}

    def once(self, name: str, build: Callable[[], Any]) -> Any:
        """Bring the emptied database to where ``build`` leaves it; return what that returned.

        It is called the first time only; later there are copies of both.
        """
        if name in self._told:
            self.fill(name)
        else:
            self._told[name] = build()
            self.keep(name)
        return deepcopy(self._told[name])

    @abstractmethod
    def keep(self, name: str) -> None:
        """Keep what the database holds now under a name; nobody may be writing."""

    @abstractmethod
    def fill(self, name: str) -> None:
        """Put what was kept in the place of everything that the database holds."""


class OnSqlite(Place):
    """A file, and copies of it by name."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._path = folder / "laboratory.db"
        self._kept = folder
        self.database = Database(f"sqlite:///{self._path}")
        sa.event.listen(self.database.engine, "connect", _do_not_flush)
        migrate.upgrade(self.database)
        self.keep(EMPTY)

    def kept(self, name: str) -> Path:
        """File of what was kept under a name."""
        return self._kept / f"kept-{name}.db"

    def keep(self, name: str) -> None:
        self.database.dispose()  # the last connection moves everything into the one file
        shutil.copyfile(self._path, self.kept(name))

    def fill(self, name: str) -> None:
        self.database.dispose()
        for ending in ("", "-wal", "-shm"):
            # Not overwritten: whoever still has the old file open must not write into the new one.
            self._path.with_name(self._path.name + ending).unlink(missing_ok=True)
        shutil.copyfile(self.kept(name), self._path)


class OnPostgresql(Place):
    """A database of PostgreSQL, with a schema for what is kept under each name."""

    def __init__(self, url: str) -> None:
        super().__init__()
        self.database = Database(url)
        migrate.upgrade(self.database)
        self._kept: dict[str, list[str]] = {EMPTY: []}

    def keep(self, name: str) -> None:
        schema = f"kept_{len(self._kept)}"
        with self.database.engine.begin() as connection:
            connection.exec_driver_sql(f'CREATE SCHEMA "{schema}"')
            filled = _filled(connection)
            told = [f'INSERT INTO "{name}" SELECT * FROM {schema}."{name}"' for name in filled]
            for table in filled:
                connection.exec_driver_sql(f'CREATE TABLE {schema}."{table}" AS TABLE "{table}"')
            counters = connection.exec_driver_sql(
                "SELECT sequencename, last_value FROM pg_sequences"
                " WHERE schemaname = 'public' AND last_value IS NOT NULL"
            )
            told += [f"SELECT setval('\"{counter}\"', {last})" for counter, last in counters]
        self._kept[name] = told

    def fill(self, name: str) -> None:
        if self.database.engine.pool.checkedout():
            self.database.dispose()  # a connection that somebody kept may be in any state
        with self.database.engine.begin() as connection:
            # Truncating takes longer than most tests.
            told = [f'DELETE FROM "{table}"' for table in reversed(_filled(connection))]
            told.append("SELECT setval(oid::regclass, 1, false) FROM pg_class WHERE relkind = 'S'")
            # In one go, which cannot be prepared.
            given = connection.connection.dbapi_connection
            given.execute("; ".join(told + self._kept[name]), prepare=False)


def _do_not_flush(connection, _record) -> None:
    connection.execute("PRAGMA synchronous = OFF")


def _filled(connection: sa.Connection) -> list[str]:
    """Tables that hold something, those that others refer to first."""
    asked = " UNION ALL ".join(
        f"SELECT '{name}' WHERE EXISTS (SELECT FROM \"{name}\")" for name in TABLES
    )
    found = set(connection.exec_driver_sql(asked).scalars())
    return [name for name in TABLES if name in found]


@contextmanager
def new_postgresql() -> Iterator[str]:
    """Address of a new, empty PostgreSQL database of this worker, dropped at the end."""
    server = sa.make_url(POSTGRES).set(drivername="postgresql+psycopg")
    worker = os.environ.get("PYTEST_XDIST_WORKER", "main")
    name = f"tracehold_test_{worker}_{uuid.uuid4().hex[:8]}"
    admin = sa.create_engine(server, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(sa.text(f'CREATE DATABASE "{name}"'))
        connection.execute(sa.text(f'ALTER DATABASE "{name}" SET synchronous_commit = off'))
    yield server.set(drivername="postgresql", database=name).render_as_string(hide_password=False)
    try:
        _drop(admin, name)
    finally:
        admin.dispose()


def _drop(admin: sa.Engine, name: str) -> None:
    ends = time.monotonic() + 30
    while True:
        try:
            with admin.connect() as connection:
                connection.execute(sa.text(f'DROP DATABASE "{name}" WITH (FORCE)'))
            return
        except sa.exc.ProgrammingError:
            # The server's own vacuum may be at it, and only a superuser may end that.
            if time.monotonic() > ends:
                raise
        time.sleep(0.2)
