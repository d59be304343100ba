"""A copy of the whole database in one file, made while servers go on, and back again.

Choice: a backup is a SQLite database, whichever engine it was taken from, so that one file can be
opened, verified and restored on either. SQLite is copied page by page by its own online backup;
PostgreSQL table by table within one snapshot, stored text and all, without decoding a value.

The file appears under its name only once it is complete. It holds everything, keys' hashes and
webhooks' secrets too: keep it as the database itself is kept.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import Column, Connection, MetaData, Table, func, insert, select, text
from sqlalchemy.engine import make_url
from sqlalchemy.types import TypeDecorator, TypeEngine

from api.store import migrate
from api.store.database import Database
from api.store.tables import Base

LOT = 2_000


class BackupError(Exception):
    """A backup that cannot be made or restored; the text says why."""


def back_up(database: Database, target: Path) -> None:
    """Write a copy of the database to a new file.

    Raises BackupError if the file exists already, or the database is not at the present schema.
    """
    if target.exists():
        raise BackupError(f"{target} exists already; name a new file")
    if not migrate.is_current(database):
        raise BackupError("the database is not at the schema of this version")
    partial = target.with_name(f"{target.name}.partial")
    partial.unlink(missing_ok=True)
    try:
        if database.is_sqlite:
            with closing(_driver(database)) as source, closing(sqlite3.connect(partial)) as copy:
                source.backup(copy)  # one step: in WAL mode writers need not wait
        else:
            _copy_out(database, partial)
        _in_one_file(partial)
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)


def restore(source: Path, database: Database) -> None:
    """Fill an empty database from a backup, and bring it to the present schema.

    Raises BackupError if the database holds something, or the file is not a backup.
    """
    if migrate.current(database) is not None:
        raise BackupError("the database is not empty; restore into a new one")
    with closing(sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)) as backup:
        try:
            said = backup.execute("PRAGMA integrity_check").fetchone()[0]
            backup.execute("SELECT version_num FROM alembic_version").fetchone()
        except sqlite3.DatabaseError as error:
            raise BackupError(f"{source} is not a backup: {error}") from error
        if said != "ok":
            raise BackupError(f"{source} is damaged: {said}")
        if database.is_sqlite:
            with closing(_driver(database)) as target:
                backup.backup(target)
            migrate.upgrade(database)
            return
    _copy_in(source, database)


def _driver(database: Database) -> sqlite3.Connection:
    path = make_url(database.url).database
    if not path or path == ":memory:":
        raise BackupError("a database in memory has no file")
    return sqlite3.connect(path, timeout=30)


def _in_one_file(path: Path) -> None:
    """Fold the write-ahead log into the file, which is then all there is to keep."""
    with closing(sqlite3.connect(path)) as copy:
        copy.execute("PRAGMA journal_mode=DELETE")


def _copy_out(database: Database, target: Path) -> None:
    copy = Database(f"sqlite:///{target}")
    try:
        migrate.upgrade(copy)
        with database.read() as session, copy.write() as written:
            # Server-side cursors: a table need not fit into memory.
            source = session.connection().execution_options(stream_results=True)
            for table in _tables():
                _copy(source, written.connection(), table)
    finally:
        copy.dispose()


def _copy_in(source: Path, database: Database) -> None:
    backup = Database(f"sqlite:///{source}")
    try:
        if not migrate.is_current(backup):
            raise BackupError(
                f"{source} is of another schema; restore it into SQLite first, which migrates it, "
                "and back that up"
            )
        migrate.upgrade(database)
        with backup.read() as session, database.write() as written:
            connection = written.connection()
            for table in _tables():
                _copy(session.connection(), connection, table)
                _continue_numbers(connection, table)
    finally:
        backup.dispose()


def _copy(source: Connection, target: Connection, table: Table) -> None:
    rows = iter(source.execute(select(table).order_by(*table.primary_key)).mappings())
    lots = iter(lambda: list(islice(rows, LOT)), [])
    for some in lots:
        target.execute(insert(table), [dict(row) for row in some])


def _tables() -> Iterator[Table]:
    """Every table in the order of its links, its columns as the engine stores them."""
    plain = MetaData()
    for table in Base.metadata.sorted_tables:
        yield Table(
            table.name,
            plain,
            *(
                Column(column.name, _stored(column.type), primary_key=column.primary_key)
                for column in table.columns
            ),
        )


def _stored(kind: TypeEngine[Any]) -> TypeEngine[Any]:
    return kind.impl_instance if isinstance(kind, TypeDecorator) else kind


def _continue_numbers(connection: Connection, table: Table) -> None:
    """Let PostgreSQL number on behind the highest key that was copied."""
    sequence = None
    if "id" in table.c:
        asked = text("SELECT pg_get_serial_sequence(:table, 'id')")
        sequence = connection.scalar(asked, {"table": f'"{table.name}"'})
    if sequence is None:
        return
    highest = connection.scalar(select(func.max(table.c.id)))
    if highest is not None:
        connection.execute(select(func.setval(sequence, highest)))
