"""Whether the database can do its work, found out without waiting and without writing."""

from __future__ import annotations

import time

import pytest
import sqlalchemy as sa

from api.store.database import BUSY_TIMEOUT_MS, Database
from api.store.readiness import hindrance


@pytest.fixture
def read_only(database, database_url):
    """The same database, opened so that it refuses every change."""
    if database.is_sqlite:
        path = database_url.removeprefix("sqlite:///")
        opened = Database(f"sqlite:///file:{path}?mode=ro&uri=true")
    else:
        options = "options=-c%20default_transaction_read_only%3Don"
        opened = Database(f"{database_url}{'&' if '?' in database_url else '?'}{options}")
    yield opened
    opened.dispose()


def test_a_migrated_database_that_takes_changes_is_hindered_by_nothing(database):
    assert hindrance(database) is None


def test_a_read_only_one_is_named(read_only):
    assert "read-only" in (hindrance(read_only) or "")


def test_one_that_was_not_migrated_is_named_with_the_remedy(tmp_path):
    empty = Database(f"sqlite:///{tmp_path / 'empty.db'}")
    assert "tracehold migrate" in (hindrance(empty) or "")
    empty.dispose()


def test_one_out_of_reach_is_an_error(tmp_path):
    lost = Database(f"sqlite:///{tmp_path / 'no such folder' / 'lost.db'}")
    with pytest.raises(sa.exc.OperationalError):
        hindrance(lost)


def test_a_long_write_of_another_is_not_waited_for(database):
    with database.write() as session:
        session.execute(sa.text("UPDATE laboratory SET time_zone = time_zone"))
        began = time.monotonic()
        assert hindrance(database) is None
        assert time.monotonic() - began < 5


def test_connections_wait_for_their_turn_again_afterwards(tmp_path, sqlite_template):
    path = tmp_path / "copy.db"
    path.write_bytes(sqlite_template.read_bytes())
    opened = Database(f"sqlite:///{path}")
    assert hindrance(opened) is None
    with opened.engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA busy_timeout").scalar() == BUSY_TIMEOUT_MS
    opened.dispose()
