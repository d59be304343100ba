"""Insert a row unless there is one of the same key: of two writers, one is let through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Insert
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session


def insert_if_absent(
    session: Session, table: type[Any], values: Mapping[str, Any], key: Sequence[str]
) -> int | None:
    """Insert a row and return its id; None if there is one of the same key, which is unique.

    PostgreSQL waits for another transaction that has inserted the key and is not yet ended.
    """
    statement = _unless_there(session, table, values, key)
    made: int | None = session.scalar(statement.returning(table.id))
    return made


def add_if_absent(
    session: Session, table: type[Any], values: Mapping[str, Any], key: Sequence[str]
) -> None:
    """Insert a row whose key is no id, unless there is one of the same key."""
    session.execute(_unless_there(session, table, values, key))


def _unless_there(
    session: Session, table: type[Any], values: Mapping[str, Any], key: Sequence[str]
) -> Insert:
    statement: Insert
    if session.get_bind().dialect.name == "sqlite":
        statement = sqlite.insert(table).on_conflict_do_nothing(index_elements=key)
    else:
        statement = postgresql.insert(table).on_conflict_do_nothing(index_elements=key)
    return statement.values(**values)
