"""Fixtures for every test that needs a database or the application.

``database_url`` runs a test once on SQLite (a fresh file, copied from a migrated template) and,
where TRACEHOLD_TEST_POSTGRES names a server and a role that may create databases, once more on
PostgreSQL (one database per worker, emptied before each test).
"""

from __future__ import annotations

import os
import shutil
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import hypothesis
import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from api.app import create_app
from api.commands.embedded import serving
from api.services.access.keys import SCOPES, create_key
from api.services.recalls.rechecking import recheck_marked
from api.settings import Settings
from api.store import migrate
from api.store.database import Database
from api.store.tables import Base

POSTGRES = os.environ.get("TRACEHOLD_TEST_POSTGRES", "")
ENGINES = ["sqlite", *(["postgresql"] if POSTGRES else [])]


# Long searches are asked for by name: --hypothesis-profile=histories.
hypothesis.settings.register_profile("histories", max_examples=1_000)


class Keys:
    """Makes API keys for tests; ``headers`` are ready to send."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def token(self, *scopes: str, customer: str | None = None, expires: int | None = None) -> str:
        """Token of a new key with these scopes (none given: all)."""
        with self.database.write() as session:
            name = "+".join(scopes) or "all"
            now = time.time_ns() // 1000
            _, token = create_key(session, name, scopes or SCOPES, customer, expires, now=now)
        return token

    def headers(self, *scopes: str, customer: str | None = None) -> dict[str, str]:
        """Authorization header of a new key with these scopes (none given: all)."""
        return {"Authorization": f"Bearer {self.token(*scopes, customer=customer)}"}


class KeyedClient(FlaskClient):
    """Flask's test client with an API key sent unless a test sends its own Authorization."""

    token: str | None = None

    def open(self, *args, **kwargs):
        """Send a request; ``headers={"Authorization": ""}`` sends it without a key."""
        if self.token is not None and args and isinstance(args[0], str):
            headers = dict(kwargs.pop("headers", None) or {})
            headers.setdefault("Authorization", f"Bearer {self.token}")
            kwargs["headers"] = headers
        return super().open(*args, **kwargs)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the slow tests, so that no worker is left alone with them at the end."""
    items.sort(key=lambda item: item.get_closest_marker("slow") is None)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """File of an empty, migrated SQLite database."""
    path = tmp_path_factory.mktemp("template") / "template.db"
    made = Database(f"sqlite:///{path}")
    migrate.upgrade(made)
    with made.engine.connect() as connection:
        # Everything into the one file, so that copying it copies all.
        connection.connection.dbapi_connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    made.dispose()
    return path


@contextmanager
def new_postgresql() -> Iterator[str]:
    """Address of a new, empty PostgreSQL database of this worker, dropped at the end."""
    server = sa.make_url(POSTGRES).set(drivername="postgresql+psycopg")
    worker = os.environ.get("PYTEST_XDIST_WORKER", "main")
    name = f"tracehold_test_{worker}_{uuid.uuid4().hex[:8]}"
    admin = sa.create_engine(server, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(sa.text(f'CREATE DATABASE "{name}"'))
        # What a test writes need not outlive the machine; durability has databases of its own.
        connection.execute(sa.text(f'ALTER DATABASE "{name}" SET synchronous_commit = off'))
    yield server.set(drivername="postgresql", database=name).render_as_string(hide_password=False)
    with admin.connect() as connection:
        connection.execute(sa.text(f'DROP DATABASE "{name}" WITH (FORCE)'))
    admin.dispose()


@pytest.fixture(scope="session")
def postgresql_database() -> Iterator[str]:
    """Address of this worker's own migrated PostgreSQL database, dropped at the end."""
    with new_postgresql() as url:
        made = Database(url)
        migrate.upgrade(made)
        made.dispose()
        yield url


@pytest.fixture(params=ENGINES)
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Address of a database without any table, once per engine."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.db'}"
    else:
        with new_postgresql() as url:
            yield url


@pytest.fixture(params=ENGINES)
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Address of an empty, migrated database, once per engine."""
    if request.param == "sqlite":
        path = tmp_path / "laboratory.db"
        shutil.copyfile(request.getfixturevalue("sqlite_template"), path)
        return f"sqlite:///{path}"
    url = request.getfixturevalue("postgresql_database")
    emptied = Database(url)
    with emptied.engine.begin() as connection:
        empty(connection)
    emptied.dispose()
    return url


def empty(connection: sa.Connection) -> None:
    """Empty the tables that hold something; truncating takes longer than most tests."""
    tables = Base.metadata.sorted_tables
    asked = " UNION ALL ".join(
        f"SELECT '{table.name}' WHERE EXISTS (SELECT FROM \"{table.name}\")" for table in tables
    )
    filled = set(connection.scalars(sa.text(asked)))
    for table in reversed(tables):
        if table.name in filled:
            connection.execute(table.delete())
    connection.execute(
        sa.text("SELECT setval(oid::regclass, 1, false) FROM pg_class WHERE relkind = 'S'")
    )


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """Open an empty, migrated database."""
    opened = Database(database_url)
    yield opened
    opened.dispose()


@pytest.fixture
def app(database: Database) -> Flask:
    """Application on that database."""
    made = create_app(Settings(), database)
    made.test_client_class = KeyedClient
    return made


@pytest.fixture
def keys(database: Database) -> Keys:
    """Maker of API keys in that database."""
    return Keys(database)


@pytest.fixture
def client(app: Flask, keys: Keys) -> KeyedClient:
    """Test client that sends a key with every scope."""
    made = app.test_client()
    assert isinstance(made, KeyedClient)
    made.token = keys.token()
    return made


@pytest.fixture
def recheck(database: Database) -> Callable[[], dict[int, bool | None]]:
    """Do the work that a server does in the background: compare every recall that waits for it."""

    def rechecked() -> dict[int, bool | None]:
        return dict(recheck_marked(database, lambda: time.time_ns() // 1000))

    return rechecked


@pytest.fixture
def server(app: Flask) -> Iterator[str]:
    """Address of the application, served over real HTTP on this machine."""
    with serving(app) as url:
        yield url
