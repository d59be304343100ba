"""Versioned records, such as decision rules and specifications: a version never changes.

Choice: of two writers that want the same version the unique key lets one through; the other is told
by None and looks again. A conflict is not an error of the transaction, on SQLite or PostgreSQL.
Each one gets its fact in the journal where it is inserted, so that none can be without.
"""

from __future__ import annotations

import hashlib
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, TypeVar

from sqlalchemy import and_, func, inspect, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from api.errors import InvalidRecord, Issue
from api.store.agreements import Agreement
from api.store.evaluations import ClassTable
from api.store.fitting import Requirement
from api.store.journal import note
from api.store.tables import DecisionRule, Specification
from api.store.types import json_text
from api.store.uncertainty import Cmc
from api.store.upsert import insert_if_absent

Versioned = TypeVar(
    "Versioned", DecisionRule, Specification, Cmc, ClassTable, Requirement, Agreement
)
VERSIONS: dict[type[Any], InstrumentedAttribute[int]] = {
    DecisionRule: DecisionRule.rule_version,
    Specification: Specification.spec_version,
    Cmc: Cmc.cmc_version,
    ClassTable: ClassTable.table_version,
    Requirement: Requirement.requirement_version,
    Agreement: Agreement.agreement_version,
}


def find(
    session: Session, table: type[Versioned], code: str, version: int | None = None
) -> Versioned | None:
    """Return one version of a record, the latest by default, or None."""
    column = VERSIONS[table]
    statement = select(table).where(table.code == code)
    if version is not None:
        statement = statement.where(column == version)
    return session.scalars(statement.order_by(column.desc()).limit(1)).one_or_none()


def latest(session: Session, table: type[Versioned]) -> list[Versioned]:
    """Return the latest version of every record."""
    column = VERSIONS[table]
    newest = select(table.code, func.max(column).label("version")).group_by(table.code).subquery()
    joined = and_(table.code == newest.c.code, column == newest.c.version)
    return list(session.scalars(select(table).join(newest, joined)))


def versions(session: Session, table: type[Versioned], code: str) -> list[int]:
    """Return the versions recorded under an id, oldest first."""
    column = VERSIONS[table]
    return list(session.scalars(select(column).where(table.code == code).order_by(column)))


def codes(session: Session, table: type[Versioned]) -> list[str]:
    """Return every recorded id once."""
    return sorted(session.scalars(select(table.code).distinct()))


def page_of(
    codes: Sequence[str], after: Sequence[Any] | None, limit: int
) -> tuple[Sequence[str], tuple[str] | None]:
    """Cut a page out of sorted ids: at most `limit` behind `after`, and where to go on.

    Rules and specifications are few, so that they are read at once; the built-in rules, which are
    not rows, then sort in like the others. Raises InvalidRecord for the cursor of another list.
    """
    start = 0
    if after is not None:
        if len(after) != 1 or not isinstance(after[0], str):
            raise InvalidRecord(
                "The cursor does not belong to this list.",
                [Issue("", "cursor of another list", "take it from the answer before")],
            )
        start = bisect_right(codes, after[0])
    found = codes[start : start + limit]
    return found, (found[-1],) if start + limit < len(codes) else None


def insert(session: Session, table: type[Versioned], values: Mapping[str, Any]) -> int | None:
    """Insert one version and return its row id; None if another writer was first."""
    return insert_once(session, table, values, ["code", VERSIONS[table].key])


def insert_once(
    session: Session, table: type[Any], values: Mapping[str, Any], key: Sequence[str]
) -> int | None:
    """Insert a row and return its id; None if there is one of the same key, which is unique."""
    made = insert_if_absent(session, table, values, key)
    if made is not None:
        named = {name: values[name] for name in key}
        note(session, words_of(table), **named, sha256=content_hash(values))
    return made


def words_of(table: type[Any]) -> str:
    """Name of a record as the journal writes it.

    >>> words_of(DecisionRule)
    'decision rule'
    """
    name: str = table.__tablename__
    return name.replace("_", " ")


def note_row(session: Session, row: Any, by: str | None = None) -> None:
    """Give the journal the fact of a stored row that never changes, by its id."""
    said = {"id": row.id, "sha256": content_hash(content_of(row))}
    note(session, words_of(type(row)), by=by, **said)


def content_of(row: Any) -> dict[str, Any]:
    """Every column of a stored record, by name."""
    return {column.key: getattr(row, column.key) for column in inspect(type(row)).column_attrs}


def content_hash(values: Mapping[str, Any]) -> str:
    """Hash by which the journal knows a record: of what it says, not of its row and its time."""
    said = {name: values[name] for name in sorted(values) if name not in ("id", "recorded_us")}
    kept = {
        name: format(value, "f") if isinstance(value, Decimal) else value
        for name, value in said.items()
        if value is not None
    }
    return hashlib.sha256(json_text(kept).encode()).hexdigest()
