"""Rows of many keys at once, as plain tuples straight from the driver.

The rows are the cost of a recall. An IN list is parsed and bound key by key, and an ORM row costs
several times what the driver's tuple does; here the keys travel as one parameter and SQLite joins
from json_each (CROSS JOIN keeps that order), PostgreSQL from an array. Values come as the columns
hold them: decimals and JSON as text.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy.orm import Session

ROWS_AT_ONCE = 2_000
_SOURCES = {
    "sqlite": "json_each(?) AS k CROSS JOIN",
    "postgresql": "unnest(%s::bigint[]) AS k(value) JOIN",
}


def rows_of(
    session: Session, columns: str, table: str, key: str, keys: Collection[int]
) -> Iterator[tuple[Any, ...]]:
    """Rows of `table` whose column `key` is one of the keys; in no order that may be relied on.

    `columns`, `table` and `key` are written in this package, never taken from a caller.
    """
    if not keys:
        return
    connection = session.connection()
    dialect = connection.dialect.name
    statement = f"SELECT {columns} FROM {_SOURCES[dialect]} {table} ON {table}.{key} = k.value"
    parameter = json.dumps(list(keys)) if dialect == "sqlite" else list(keys)
    cursor = connection.connection.cursor()
    try:
        cursor.execute(statement, (parameter,))
        while rows := cursor.fetchmany(ROWS_AT_ONCE):
            yield from rows
    finally:
        cursor.close()
