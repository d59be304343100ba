"""What to look at first: the lists of a stored recall sorted, filtered and totalled.

A stored recall never changes, so a place in a sorted list is a safe cursor.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import orjson
from sqlalchemy import ColumnElement, Row, case, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from api.errors import InvalidRecord, Issue
from api.services.base.record import Record
from api.services.casework.entry_filters import passing
from api.store.casework import Disposition
from api.store.tables import Certificate, RecallEntry
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED

RECALLED = (AFFECTED, INDETERMINATE, EXPOSED, NOT_EXCLUDED)
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
    rows, more = entry_rows(session, recall, name, query, start)
    return [row.body for row in rows], (start + len(rows),) if more else None


def entry_rows(
    session: Session, recall: int, name: str, query: Record, start: int
) -> tuple[Sequence[Row[int, str]], bool]:
    """Return entries of one list from a place on: certificate key and body; and whether more come.

    `query` as in `entry_page`.
    """
    columns = select(RecallEntry.certificate_id, RecallEntry.body)
    order = SORTS[query.get("sort", "order")]
    statement = passing(columns, recall, name, query).order_by(*order, RecallEntry.position)
    rows = session.execute(statement.offset(start).limit(query["limit"] + 1)).all()
    return rows[: query["limit"]], len(rows) > query["limit"]


def entry_count(
    session: Session, recall: int, name: str, query: Record, *, undecided: bool = False
) -> int:
    """Count the entries of one list that pass the filters of a query, or those not disposed of."""
    statement = passing(select(func.count()), recall, name, query)
    if undecided:
        decided = select(Disposition.certificate_id).where(Disposition.recall_id == recall)
        statement = statement.where(RecallEntry.certificate_id.not_in(decided))
    return session.scalar(statement) or 0


def entry_of(
    session: Session, recall: int, number: str, issuer: str | None, revision: int | None
) -> tuple[int, Record] | None:
    """Return certificate key and entry of one certificate in whichever list, or None.

    Without revision the one that was recalled, else the highest.
    """
    statement = (
        select(RecallEntry.certificate_id, RecallEntry.list_name, RecallEntry.body)
        .join(Certificate, Certificate.id == RecallEntry.certificate_id)
        .where(RecallEntry.recall_id == recall, Certificate.number == number)
        .order_by(Certificate.revision.desc())
    )
    if issuer is not None:
        statement = statement.where(Certificate.issuer == issuer)
    if revision is not None:
        statement = statement.where(Certificate.revision == revision)
    rows = session.execute(statement).all()
    if not rows:
        return None
    row = next((one for one in rows if one.list_name in RECALLED), rows[0])
    return row.certificate_id, orjson.loads(row.body)


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
        for name in RECALLED
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
