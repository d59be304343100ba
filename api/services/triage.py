"""What to look at first: the lists of a stored recall sorted, filtered and totalled.

A stored recall never changes, so a place in a sorted list is a safe cursor.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, Select, case, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from api.errors import InvalidRecord, Issue
from api.services.recording import Record
from api.store.tables import RecallEntry
from graph.recall import AFFECTED, EXPOSED, INDETERMINATE

_LAST = -1.0  # below every ratio: entries without one come last
SORTS: dict[str, tuple[ColumnElement[Any], ...]] = {
    "order": (),
    "changed": (
        case((RecallEntry.verdict_changes.is_(True), 0), else_=1),
        func.coalesce(RecallEntry.shift_over_U, _LAST).desc(),
    ),
    "shift_over_U": (func.coalesce(RecallEntry.shift_over_U, _LAST).desc(),),
    "shift_over_tolerance": (func.coalesce(RecallEntry.shift_over_tolerance, _LAST).desc(),),
    "customer": (func.coalesce(RecallEntry.customer, "").asc(),),
    "item": (RecallEntry.item.asc(),),
    "generation": (RecallEntry.generation.asc(),),
}


def entry_page(
    session: Session, recall: int, name: str, query: Record, after: Sequence[Any] | None
) -> tuple[list[str], tuple[int] | None]:
    """Return a page of one list as JSON texts, and the place to go on behind.

    `query` may hold `sort` (one of SORTS), `limit`, and the filters `verdict_changes`, `customer`,
    `item`, `generation` and `min_shift_over_U`.
    """
    start = _start(after)
    statement = _filtered(select(RecallEntry.body), recall, name, query)
    order = SORTS[query.get("sort", "order")]
    rows = session.scalars(
        statement.order_by(*order, RecallEntry.position).offset(start).limit(query["limit"] + 1)
    ).all()
    shown = list(rows[: query["limit"]])
    return shown, (start + len(shown),) if len(rows) > len(shown) else None


def _start(after: Sequence[Any] | None) -> int:
    if after is None:
        return 0
    if len(after) == 1 and type(after[0]) is int and 0 <= after[0] < 2**31:
        return after[0]
    raise InvalidRecord(
        "The cursor does not belong to this list.",
        [Issue("", "cursor of another list", "take it from the answer before")],
    )


def totals(session: Session, recall: int) -> Record:
    """Count the entries of the recalled lists by customer, item, generation and verdict change."""
    return {
        name: {
            "by_customer": _count(session, recall, name, RecallEntry.customer),
            "by_item": _count(session, recall, name, RecallEntry.item),
            "by_generation": _count(session, recall, name, RecallEntry.generation),
        }
        for name in (AFFECTED, EXPOSED, INDETERMINATE)
    }


def _count(
    session: Session, recall: int, name: str, column: InstrumentedAttribute[Any]
) -> list[Record]:
    changed = func.sum(case((RecallEntry.verdict_changes.is_(True), 1), else_=0))
    rows = session.execute(
        select(column, func.count(), changed)
        .where(RecallEntry.recall_id == recall, RecallEntry.list_name == name)
        .group_by(column)
        .order_by(changed.desc(), func.count().desc(), column)
    )
    return [
        {"of": value, "certificates": count, "verdict_changes": int(changes)}
        for value, count, changes in rows
    ]


def _filtered(statement: Select[str], recall: int, name: str, query: Record) -> Select[str]:
    statement = statement.where(RecallEntry.recall_id == recall, RecallEntry.list_name == name)
    if "verdict_changes" in query:
        statement = statement.where(RecallEntry.verdict_changes.is_(query["verdict_changes"]))
    for column in ("customer", "item", "generation"):
        if column in query:
            statement = statement.where(getattr(RecallEntry, column) == query[column])
    if "min_shift_over_U" in query:
        statement = statement.where(RecallEntry.shift_over_U >= float(query["min_shift_over_U"]))
    return statement
