"""Rows of many keys at once, as plain tuples straight from the driver.

The rows are the cost of a recall. An IN list is parsed and bound key by key, and an ORM row costs
several times what the driver's tuple does; here the keys travel as one parameter and SQLite joins
from json_each (CROSS JOIN keeps that order), PostgreSQL from an array. Values come as the columns
hold them: decimals and JSON as text.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Sequence
from typing import Any

from api.store.reading import SQLITE, Reader

_SOURCES = {
    "sqlite": "json_each(?) AS k CROSS JOIN",
    "postgresql": "unnest(?::{kind}[]) AS k(value) JOIN",
}


def rows_of(
    reader: Reader,
    columns: str,
    table: str,
    key: str,
    keys: Collection[int] | Collection[str],
    also: str = "",
    parameters: Sequence[Any] = (),
) -> Iterator[tuple[Any, ...]]:
    """Rows of `table` whose column `key` is one of the keys; in no order that may be relied on.

    `also` is written after the join: more joins, or conditions, whose parameters follow. It,
    `columns`, `table` and `key` are written in this package, never taken from a caller.
    """
    if not keys:
        return iter(())
    dialect = reader.dialect
    kind = "text" if isinstance(next(iter(keys)), str) else "bigint"
    source = _SOURCES[dialect].format(kind=kind)
    statement = f"SELECT {columns} FROM {source} {table} ON {table}.{key} = k.value {also}"
    wanted = json.dumps(list(keys)) if dialect == SQLITE else list(keys)
    return reader.rows(statement, [wanted, *parameters])
