"""How the questions of a recall reach a database: SQL text, and whoever can run it.

Choice: `api.store.records` and `api.store.links` ask in SQL text that both engines understand, of a
`Reader`, and need no SQLAlchemy, whose import costs more than a whole list of certificates. A
server asks through the connection and transaction of its session (`SessionReader`); a process that
asks a SQLite file once opens it with the standard library (`opened`), read-only and in one
transaction, and answers before SQLAlchemy would have been loaded.

Not checked here: that a statement is one of ours; they are written in this package, and whatever
comes from a caller travels as a parameter.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from api.version import SCHEMA

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

ROWS_AT_ONCE = 2_000
Portion = list[tuple[Any, ...]]  # rows fetched at once
SQLITE = "sqlite"
_FILE = "sqlite:///"


class Unreadable(Exception):
    """A file that cannot be read as a database of this version; the text says why."""


class Reader(Protocol):
    """Runs SQL text whose parameters are marked by ``?``."""

    @property
    def dialect(self) -> str:
        """``sqlite`` or ``postgresql``."""

    def rows(self, statement: str, parameters: Sequence[Any] = ()) -> Iterator[tuple[Any, ...]]:
        """Rows of a statement, fetched some thousand at a time; values as the driver gives them."""


@dataclass(frozen=True, slots=True)
class SessionReader:
    """Reads through the connection of a SQLAlchemy session, within its transaction."""

    session: Session

    @property
    def dialect(self) -> str:
        """Name of the engine."""
        return self.session.connection().dialect.name

    def rows(self, statement: str, parameters: Sequence[Any] = ()) -> Iterator[tuple[Any, ...]]:
        """Rows as the driver gives them; an error of the database comes as SQLAlchemy's."""
        return chain.from_iterable(self._portions(statement, parameters))

    def _portions(self, statement: str, parameters: Sequence[Any]) -> Iterator[Portion]:
        connection = self.session.connection()
        if connection.dialect.name != SQLITE:
            statement = statement.replace("?", "%s")
        with closing(connection.exec_driver_sql(statement, tuple(parameters))) as found:
            # Past the result, which would make an object of its own of every row.
            yield from _fetched(found.cursor)


@dataclass(frozen=True, slots=True)
class Remembering:
    """Asks each question once: for several that ask the same, while nothing is written between."""

    reader: Reader
    _known: dict[tuple[str, str], list[tuple[Any, ...]]] = field(default_factory=dict)

    @property
    def dialect(self) -> str:
        """Name of the engine."""
        return self.reader.dialect

    def rows(self, statement: str, parameters: Sequence[Any] = ()) -> Iterator[tuple[Any, ...]]:
        """Rows as the other reader gives them, all of them kept."""
        asked = statement, repr(tuple(parameters))
        found = self._known.get(asked)
        if found is None:
            found = self._known[asked] = list(self.reader.rows(statement, parameters))
        yield from found


@dataclass(frozen=True, slots=True)
class FileReader:
    """Reads a SQLite file through the standard library alone."""

    connection: sqlite3.Connection
    dialect: str = SQLITE

    def rows(self, statement: str, parameters: Sequence[Any] = ()) -> Iterator[tuple[Any, ...]]:
        """Rows as the driver gives them."""
        return chain.from_iterable(self._portions(statement, parameters))

    def _portions(self, statement: str, parameters: Sequence[Any]) -> Iterator[Portion]:
        with closing(self.connection.cursor()) as cursor:
            yield from _fetched(cursor.execute(statement, tuple(parameters)))


def file_of(url: str) -> Path | None:
    """Return the file that an address of a database names; None if it takes more to open it.

    >>> file_of("sqlite:///lab.db"), file_of("sqlite:///file:lab.db?uri=true"), file_of("sqlite://")
    (PosixPath('lab.db'), None, None)
    """
    name = url.removeprefix(_FILE)
    plain = url.startswith(_FILE) and name and "?" not in name and not name.startswith(":")
    return Path(name) if plain else None


@contextmanager
def opened(path: Path) -> Iterator[FileReader]:
    """Open a SQLite file for reading, in one transaction: what others write meanwhile is not seen.

    Raises Unreadable for a file that is none of ours, or at the schema of another version.
    """
    try:
        # Each connection is for one thread and one answer; the cache of pages is left small, since
        # a page is seldom needed twice and fresh memory costs more than reading it again.
        address = f"{path.resolve().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, uri=True, isolation_level=None)) as connection:
            reader = FileReader(connection)
            connection.execute("BEGIN")
            _refuse_other_version(reader, path)
            yield reader
    except sqlite3.DatabaseError as error:
        raise Unreadable(f"{path} cannot be read as a database: {error}") from error


def _refuse_other_version(reader: FileReader, path: Path) -> None:
    known = "SELECT 1 FROM sqlite_master WHERE name = 'alembic_version'"
    versions = "SELECT version_num FROM alembic_version"
    found = [version for _ in reader.rows(known) for (version,) in reader.rows(versions)]
    if found != [SCHEMA]:
        was = f"at schema {found[0]}" if found else "no database of this program"
        remedy = f"this version reads schema {SCHEMA}; run: tracehold migrate"
        raise Unreadable(f"{path} is {was}; {remedy}")


def _fetched(cursor: Any) -> Iterator[Portion]:
    while rows := cursor.fetchmany(ROWS_AT_ONCE):
        yield rows
