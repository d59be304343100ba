"""SQL text through a session and straight from a SQLite file: the same rows, and clear refusals."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from oracle_cases import cal, lab, ref
from sqlalchemy.exc import DBAPIError

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store import migrate
from api.store.reading import Remembering, SessionReader, Unreadable, file_of, opened
from api.version import SCHEMA

NUMBERS = "SELECT number FROM certificate WHERE revision = ? ORDER BY number"


def fill(database) -> None:
    with database.write() as session:
        made = lab(cal("R-1", "REF", "01-05", []), cal("C-1", "A", "02-01", [ref("REF")]))
        import_laboratory(session, LaboratorySchema().load(made), 0)


def test_a_session_reads_within_its_transaction(database):
    fill(database)
    with database.write() as session:
        reader = SessionReader(session)
        assert list(reader.rows(NUMBERS, [0])) == [("C-1",), ("R-1",)]
        session.connection().exec_driver_sql("UPDATE certificate SET revision = 1")
        assert list(reader.rows(NUMBERS, [0])) == []
        session.rollback()


def test_an_error_of_the_database_comes_as_every_other_of_a_session(database):
    with database.read() as session, pytest.raises(DBAPIError):
        list(SessionReader(session).rows("SELECT nothing FROM nowhere"))


@pytest.fixture
def file(database) -> Path:
    if not database.is_sqlite:
        pytest.skip("a file belongs to SQLite")
    fill(database)
    found = file_of(database.url)
    assert found is not None
    return found


def test_a_file_is_read_in_one_transaction(file, database):
    with opened(file) as reader:
        before = list(reader.rows(NUMBERS, [0]))
        with database.write() as session:
            session.connection().exec_driver_sql("UPDATE certificate SET revision = 1")
        assert list(reader.rows(NUMBERS, [0])) == before == [("C-1",), ("R-1",)]
    with opened(file) as reader:
        assert list(reader.rows(NUMBERS, [0])) == []


def test_a_file_cannot_be_changed_through_a_reader(file):
    with (
        pytest.raises(Unreadable, match="readonly"),
        opened(file) as reader,
    ):
        list(reader.rows("DELETE FROM certificate"))


def test_signs_in_the_name_of_a_file_are_part_of_it(file, database):
    database.dispose()  # so that everything is in the one file
    odd = file.rename(file.with_name("50% of #1?.db"))
    with opened(odd) as reader:
        assert list(reader.rows(NUMBERS, [0]))


@pytest.mark.parametrize(
    ("url", "expected"),
    [
        ("sqlite:///lab.db", "lab.db"),
        ("sqlite:////var/lab.db", "/var/lab.db"),
        ("sqlite:///lab.db?mode=ro", None),
        ("sqlite:///:memory:", None),
        ("sqlite://", None),
        ("postgresql://lab@host/lab", None),
    ],
)
def test_only_a_plain_address_is_a_file(url, expected):
    assert file_of(url) == (None if expected is None else Path(expected))


def test_what_is_no_database_of_this_version_is_refused(tmp_path):
    text, empty, other = (tmp_path / name for name in ("text.db", "empty.db", "other.db"))
    text.write_text("no database at all, but long enough to be looked at as the header of one")
    sqlite3.connect(empty).close()
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE alembic_version (version_num TEXT)")
        connection.execute("INSERT INTO alembic_version VALUES ('0000')")
    connection.close()
    for path, said in (
        (text, "file is not a database"),
        (tmp_path / "missing.db", "unable to open"),
        (empty, "no database of this program"),
        (other, "at schema 0000"),
    ):
        with pytest.raises(Unreadable, match=said), opened(path):
            pass


def test_the_schema_that_is_asked_for_is_the_newest_migration():
    assert migrate.head() == SCHEMA


def test_what_is_asked_again_is_remembered_and_nothing_else():
    """One reader for several that ask the same: the second time nobody goes to the database."""
    asked = []

    class Counting:
        dialect = "sqlite"

        def rows(self, statement, parameters=()):
            asked.append((statement, parameters))
            yield from [(1,), (2,)]

    reader = Remembering(Counting())
    assert reader.dialect == "sqlite"
    for parameters in ([[1, 2]], [[1, 2]], [[1]]):
        assert list(reader.rows("SELECT ?", parameters)) == [(1,), (2,)]
    assert list(reader.rows("SELECT ? + 1", [[1]])) == [(1,), (2,)]
    assert asked == [("SELECT ?", [[1, 2]]), ("SELECT ?", [[1]]), ("SELECT ? + 1", [[1]])]
