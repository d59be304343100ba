"""One page of a list, continued behind the last key instead of at a row number.

Row numbers drift while records are added; a key does not. The key columns together must be unique
and not null.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Row, Select, tuple_
from sqlalchemy.orm import InstrumentedAttribute, Session

from api.errors import InvalidRecord, Issue

KeyValues = tuple[Any, ...]


def page(
    session: Session,
    statement: Select[*tuple[Any, ...]],
    key: Sequence[InstrumentedAttribute[Any]],
    after: Sequence[Any] | None,
    limit: int,
    *,
    descending: bool = False,
) -> tuple[list[Row[*tuple[Any, ...]]], KeyValues | None]:
    """Rows of ``statement`` in the order of ``key``, at most ``limit`` behind ``after``.

    Returns the rows and the key to continue behind, None at the end. The key columns are added to
    the end of each row if the statement does not already select them. Raises ``InvalidRecord`` if
    ``after`` does not fit the key.
    """
    if after is not None:
        _check(key, after)
        left = tuple_(*key)
        statement = statement.where(left < tuple(after) if descending else left > tuple(after))
    order = [column.desc() if descending else column.asc() for column in key]
    marked = statement.add_columns(*(c.label(f"_key_{n}") for n, c in enumerate(key)))
    rows = list(session.execute(marked.order_by(*order).limit(limit + 1)))
    if len(rows) <= limit:
        return rows, None
    del rows[limit:]
    return rows, tuple(rows[-1][-len(key) :])


def _check(key: Sequence[InstrumentedAttribute[Any]], after: Sequence[Any]) -> None:
    kinds = [column.type.python_type for column in key]
    fits = len(after) == len(kinds) and all(
        type(value) is kind and (kind is not int or abs(value) < 2**63)
        for value, kind in zip(after, kinds, strict=False)
    )
    if not fits:
        raise InvalidRecord(
            "The cursor does not belong to this list.",
            [Issue("", "cursor of another list", "take it from the answer before")],
        )
