"""Fixtures for every test that needs a database or the application.

``database`` runs a test once on SQLite and, where TRACEHOLD_TEST_POSTGRES names a server and a role
that may create databases, once more on PostgreSQL. Each worker has one database per engine, emptied
before each test, and one application, which is handed that database and forgets all it knew. A test
that listens to the engine or adds views asks for ``own_database`` or ``own_app``.
"""

from __future__ import annotations

import gc
import hashlib
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from flask import Flask
from flask.testing import FlaskClient

from api.app import create_app, work_on
from api.commands.embedded import serving
from api.services.access.keys import SCOPES, create_key
from api.services.recalls.rechecking import recheck_marked
from api.settings import Settings
from api.store.database import Database
from tests.databases import (
    DOORS,
    EMPTY,
    ENGINES,
    OnPostgresql,
    OnSqlite,
    Place,
    drawn,
    new_postgresql,
)

LONG = ("slow", "browser")
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


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[None]:
    """Look for garbage neither while tests are collected nor, later, in what stays to the end.

    It takes a quarter of the time of collecting them, and there is none.
    """
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the option that tries every test on every engine."""
    about = "try tests of the product's doors on both engines, not on one drawn by their name"
    parser.addoption("--each-engine", action="store_true", help=about)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out the engine that was not drawn; begin with the slow tests.

    So no worker is left alone with a slow one at the end.
    """
    if not config.getoption("--each-engine"):
        kept: list[pytest.Item] = []
        left: list[pytest.Item] = []
        for item in items:
            (left if on_another_engine(item) else kept).append(item)
        config.hook.pytest_deselected(items=left)
        items[:] = kept
    items.sort(key=lambda item: not (set(LONG) & {mark.name for mark in item.iter_markers()}))


def on_another_engine(item: pytest.Item) -> bool:
    """Whether a test of a door is one for the engine that was not drawn for it."""
    if not item.nodeid.startswith(DOORS) or not isinstance(item, pytest.Function):
        return False
    given = getattr(item, "callspec", None)
    values = [] if given is None else given.params.values()
    engines = [value for value in values if isinstance(value, str) and value in ENGINES]
    if len(engines) != 1:
        return False
    name = item.nodeid
    for engine in ENGINES:
        name = name.replace(engine, "")
    return drawn(name) != engines[0]


@pytest.fixture(scope="session")
def sqlite_place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OnSqlite]:
    """Return this worker's SQLite database."""
    place = OnSqlite(tmp_path_factory.mktemp("sqlite"))
    yield place
    place.database.dispose()


@pytest.fixture(scope="session")
def postgresql_place() -> Iterator[OnPostgresql]:
    """Return this worker's PostgreSQL database, which is dropped at the end."""
    with new_postgresql() as url:
        place = OnPostgresql(url)
        yield place
        place.database.dispose()


@pytest.fixture(scope="session")
def sqlite_template(sqlite_place: OnSqlite) -> Path:
    """File of an empty, migrated SQLite database."""
    return sqlite_place.kept(EMPTY)


@pytest.fixture(params=ENGINES)
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Address of a database without any table, once per engine."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.db'}"
    else:
        with new_postgresql() as url:
            yield url


@pytest.fixture(params=ENGINES)
def engine_place(request: pytest.FixtureRequest) -> Place:
    """Return this worker's database of an engine, emptied; once per engine."""
    found: Place = request.getfixturevalue(f"{request.param}_place")
    found.fill(EMPTY)
    return found


@pytest.fixture
def database(engine_place: Place) -> Database:
    """Return an empty, migrated database; it is the worker's, so nothing may be left on it."""
    return engine_place.database


@pytest.fixture
def database_url(database: Database) -> str:
    """Address of an empty, migrated database."""
    return database.url


@pytest.fixture
def own_database(engine_place: Place) -> Iterator[Database]:
    """Open the emptied database anew, for a test that listens to its connections."""
    opened = Database(engine_place.database.url)
    yield opened
    opened.dispose()


@pytest.fixture(scope="session")
def only_app() -> tuple[Flask, dict[str, Any]]:
    """Return this worker's application, and how it was configured."""
    made = create_app(Settings(), Database("sqlite://"))
    made.test_client_class = KeyedClient
    return made, dict(made.config)


@pytest.fixture
def app(only_app: tuple[Flask, dict[str, Any]], database: Database) -> Iterator[Flask]:
    """Application on that database; it is the worker's, so no test may add to it."""
    made, config = only_app
    made.config.clear()
    made.config.update(config)
    work_on(made, database)
    before = parts(made)
    yield made
    assert parts(made) == before, "add to own_app instead"


def parts(app: Flask) -> list[int]:
    """How much of each kind an application has been given, and whether something wraps it."""
    hooks = (app.before_request_funcs, app.after_request_funcs, app.teardown_request_funcs)
    called = [sum(map(len, hook.values())) for hook in hooks]
    return [*called, len(app.view_functions), len(app.blueprints), "wsgi_app" in vars(app)]


@pytest.fixture
def own_app(database: Database) -> Flask:
    """Application of one test, which may add to it."""
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


Once = Callable[..., Any]


@pytest.fixture
def once(engine_place: Place, client: KeyedClient) -> Once:
    """Bring the client's laboratory to where ``work(client, *given)`` brings an empty one.

    It is carried out once a worker and engine; later its database is copied, and what it returned.
    """

    def done(work: Callable[..., Any], *given: Any) -> Any:
        about = json.dumps([work.__module__, work.__qualname__, given], sort_keys=True)
        name = hashlib.sha256(about.encode()).hexdigest()
        # The key that did the work is part of what is kept.

        def build() -> tuple[str | None, Any]:
            found = work(client, *given)
            return client.token, found

        client.token, found = engine_place.once(name, build)
        work_on(client.application, engine_place.database)
        return found

    return done


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
