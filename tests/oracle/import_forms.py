"""One laboratory in the forms that an import takes, and the rows that it leaves in the database."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.tables import Base

Json = dict[str, Any]
COLLECTIONS = ("items", "composition", "calibrations", "checks")
# What tells of an import itself: keys in the order of arrival, when, and by which request.
_LEFT_OUT = {"api_key", "journal_line", "journal_head", "import_run", "idempotent_answer"}
# Those who came in one lot are one change.
_LEFT_OUT |= {"record_change", "record_change_item", "alert_reading"}
# The cause of an alert is the key of a check or certificate, which stands beside it too.
_ARRIVAL = {"recorded_us", "at_us", "cause"}


def lines_of(laboratory: Json, order: Callable[[list[bytes]], None] = lambda lines: None) -> bytes:
    """The laboratory as NDJSON, each record on a line; `order` moves the lines."""
    heading = {name: one for name, one in laboratory.items() if name not in COLLECTIONS}
    lines = [json.dumps({name: one}) for name in COLLECTIONS for one in laboratory.get(name, ())]
    lines += [json.dumps({name: one}) for name, one in heading.items()]
    texts = [line.encode() for line in lines]
    order(texts)
    return b"\n".join(texts)


def csv_answer(
    client: Any,
    files: Mapping[str, bytes | str],
    mapping: Json | bytes,
    query: str = "",
    **headers: str,
) -> Any:
    """Answer to an import of CSV files by name."""
    sent = mapping if isinstance(mapping, bytes) else json.dumps(mapping).encode()
    parts: Json = {
        name: (io.BytesIO(one.encode() if isinstance(one, str) else one), name)
        for name, one in files.items()
    }
    parts["mapping"] = (io.BytesIO(sent), "mapping.json")
    return client.post(
        f"/v1/imports/csv{query}", data=parts, content_type="multipart/form-data", headers=headers
    )


def rows_of(session: Session) -> Json:
    """Rows of every table with what keys stand for in their place, in no order."""
    tables = [t for t in Base.metadata.sorted_tables if t.name not in _LEFT_OUT]
    found: Json = {}
    names: dict[str, dict[Any, str]] = {}
    for table in tables:
        made = []
        for row in session.execute(sa.select(table)).mappings():
            said = {str(c.key): _said(c, row[c.key], names) for c in table.columns}
            if "id" in row:
                kept = {k: v for k, v in said.items() if k != "id"}
                names.setdefault(table.name, {})[row["id"]] = json.dumps(kept, sort_keys=True)
                said = kept
            made.append(json.dumps(said, sort_keys=True))
        found[table.name] = sorted(made)
    return found


def _said(column: sa.Column[Any], value: Any, names: Mapping[str, Mapping[Any, str]]) -> Any:
    if column.name in _ARRIVAL:
        return None
    for key in column.foreign_keys:
        # A link within the table itself may point ahead; its rows are compared by their numbers.
        if value is not None and key.column.table.name in names:
            return names[key.column.table.name][value]
    return value if isinstance(value, int | bool | None) else str(value)
