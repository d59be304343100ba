"""Which entries of a list of a recall pass a filter? One answer for what is shown and decided.

Somebody who filters a list and then decides about all that passes means exactly what was shown.
"""

from __future__ import annotations

from typing import Any, TypeVar

from sqlalchemy import Select

from api.services.base.record import Record
from api.store.tables import RecallEntry

Statement = TypeVar("Statement", bound=Select[*tuple[Any, ...]])
SAME = ("customer", "item", "generation")
FILTERS = (*SAME, "verdict_changes", "min_shift_over_U")


def passing(statement: Statement, recall_id: int, name: str, query: Record) -> Statement:
    """Return a statement on entries, narrowed to those of one list that pass the filters.

    `query` may hold `verdict_changes` (true, false, None where unknown), `customer`, `item`,
    `generation` and `min_shift_over_U`.
    """
    statement = statement.where(RecallEntry.recall_id == recall_id, RecallEntry.list_name == name)
    if "verdict_changes" in query:
        statement = statement.where(RecallEntry.verdict_changes.is_(query["verdict_changes"]))
    for column in SAME:
        if column in query:
            statement = statement.where(getattr(RecallEntry, column) == query[column])
    if "min_shift_over_U" in query:
        statement = statement.where(RecallEntry.shift_over_U >= float(query["min_shift_over_U"]))
    return statement
