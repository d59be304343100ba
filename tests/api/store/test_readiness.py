"""Whether the database can do its work, found out without waiting and without writing."""

from __future__ import annotations

import time
from types import SimpleNamespace

import pytest
import sqlalchemy as sa

from api.store import readiness
from api.store.database import BUSY_TIMEOUT_MS, Database
from api.store.readiness import LEAST_ROOM, hindrance
from api.store.record_watch import WorkLease


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


def test_after_a_refusal_for_want_of_room_one_row_is_tried_until_it_fits(database):
    with database.read() as session:
        rows = sa.select(sa.func.count()).select_from(WorkLease).where(WorkLease.name == "room")
        assert session.scalar(rows) == 0  # a probe writes nothing as long as all is well
    database.full = True
    if database.is_sqlite:
        with database.write() as session:
            session.execute(sa.text("UPDATE laboratory SET time_zone = time_zone"))
            assert "full" in (hindrance(database) or "")  # what is tried has to wait
        assert not database.full  # and another write went through
        database.full = True
    for _ in range(2):
        assert hindrance(database) is None
        assert not database.full


@pytest.mark.parametrize("refused", ["53100", "42601"])
def test_a_write_that_is_refused_for_want_of_room_is_remembered(database, refused):
    class Refused(Exception):
        sqlstate = refused  # PostgreSQL, appendix A: disk_full, syntax_error

    with pytest.raises(sa.exc.DBAPIError), database.write():
        raise sa.exc.OperationalError("INSERT", {}, Refused())
    assert database.full is (refused == "53100")
    with database.write() as session:
        session.execute(sa.text("UPDATE laboratory SET time_zone = time_zone"))
    assert not database.full


def test_a_disk_with_less_room_than_the_log_needs_is_named(database, monkeypatch):
    if not database.is_sqlite:
        pytest.skip("the disk of a server is its own")
    for free, found in ((LEAST_ROOM - 1, True), (LEAST_ROOM, False)):
        told = SimpleNamespace(free=free)
        monkeypatch.setattr(readiness, "disk_usage", lambda _, told=told: told)
        assert ("full" in (hindrance(database) or "")) is found
