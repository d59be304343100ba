"""Versioned records: rules, specifications and requirements, whose versions never change.

Choice: of two writers that want the same version the unique key lets one through; the other is told
by None and looks again. A conflict is not an error of the transaction, on SQLite or PostgreSQL.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from sqlalchemy import Insert, and_, func, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import InstrumentedAttribute, Session

from api.errors import InvalidRecord, Issue
from api.store.fitting import Requirement
from api.store.tables import DecisionRule, Specification

Versioned = TypeVar("Versioned", DecisionRule, Specification, Requirement)
_VERSIONS: dict[type[Any], InstrumentedAttribute[int]] = {
    DecisionRule: DecisionRule.rule_version,
    Specification: Specification.spec_version,
    Requirement: Requirement.requirement_version,
}


def find(
    session: Session, table: type[Versioned], code: str, version: int | None = None
) -> Versioned | None:
    """Return one version of a record, the latest by default, or None."""
    column = _VERSIONS[table]
    statement = select(table).where(table.code == code)
    if version is not None:
        statement = statement.where(column == version)
    return session.scalars(statement.order_by(column.desc()).limit(1)).one_or_none()


def latest(session: Session, table: type[Versioned]) -> list[Versioned]:
    """Return the latest version of every record."""
    column = _VERSIONS[table]
    newest = select(table.code, func.max(column).label("version")).group_by(table.code).subquery()
    joined = and_(table.code == newest.c.code, column == newest.c.version)
    return list(session.scalars(select(table).join(newest, joined)))


def versions(session: Session, table: type[Versioned], code: str) -> list[int]:
    """Return the versions recorded under an id, oldest first."""
    column = _VERSIONS[table]
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
    on_sqlite = session.get_bind().dialect.name == "sqlite"
    key = ["code", _VERSIONS[table].key]
    statement: Insert
    if on_sqlite:
        statement = sqlite.insert(table).on_conflict_do_nothing(index_elements=key)
    else:
        statement = postgresql.insert(table).on_conflict_do_nothing(index_elements=key)
    return session.scalar(statement.values(**values).returning(table.id))
