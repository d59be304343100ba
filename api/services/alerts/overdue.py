"""Uses of overdue items in issued certificates: who carried the value, and since when it was due.

When a value is overdue says `api.services.records.due`. Of an assembly without a value of its own
its measuring parts carry it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from api.services.recalls.resting import Histories
from api.services.records.due import OVERDUE, overdue
from api.store.assemblies import held, holders
from api.store.keyed import rows_of
from api.store.reading import SessionReader
from api.store.record_touch import Range
from api.store.sources import Recorded
from graph.model import BY_SHARE
from graph.moments import Moment

_USE = (
    "usage.certificate_id, usage.position, made.issuer, made.number, "
    "COALESCE(usage.performed_at, made.performed_at), usage.used_us"
)
_MADE = "JOIN certificate AS made ON made.id = usage.certificate_id"
_DIRECT = (
    f"{_MADE} JOIN certificate AS value ON value.id = usage.source_id "
    f"WHERE made.status = 'issued' AND {OVERDUE}"
)
_THROUGH = (
    f"{_MADE} WHERE made.status = 'issued' AND usage.source_id IS NULL AND EXISTS "
    "(SELECT 1 FROM composition WHERE composition.assembly_id = usage.item_id "
    "AND NOT composition.withdrawn)"
)


class OverdueUse(NamedTuple):
    """One use of an item whose value was due before: the item, the value, and the use."""

    item: int
    issuer: str
    number: str
    value_id: int
    certificate: int
    position: int
    made_issuer: str
    made_number: str
    used_at: str
    used_us: int


class Scope(NamedTuple):
    """Of which uses overdue ones are wanted: all (`items` None), of items, of certificates."""

    items: Collection[int] | None
    ranges: Sequence[Range] = ()


def overdue_uses(session: Session, scope: Scope) -> list[OverdueUse]:
    """Return the overdue uses of a scope, each once."""
    found = set[OverdueUse]()
    columns = f"usage.item_id, value.issuer, value.number, value.id, {_USE}"
    for row in _rows(session, scope, scope.items or (), columns, _DIRECT):
        found.add(OverdueUse(*row))
    above = scope.items and holders(SessionReader(session), scope.items)
    columns = f"usage.item_id, made.mode, usage.used_end_us, {_USE}"
    through = list(_rows(session, scope, above or (), columns, _THROUGH))
    found.update(_through_parts(session, through))
    return sorted(found)


def _rows(
    session: Session, scope: Scope, items: Collection[int], columns: str, also: str
) -> Iterator[tuple[Any, ...]]:
    reader = SessionReader(session)
    if scope.items is None:
        yield from reader.rows(f"SELECT {columns} FROM usage {also}")
        return
    yield from rows_of(reader, columns, "usage", "item_id", items, also)
    for bounds in scope.ranges:
        statement = f"SELECT {columns} FROM usage {also} AND usage.certificate_id BETWEEN ? AND ?"
        yield from reader.rows(statement, bounds)


class _Value(NamedTuple):
    """A certificate of a part, and by when its value is due."""

    item: int
    issuer: str
    number: str
    due_us: int | None


def _through_parts(session: Session, rows: Iterable[tuple[Any, ...]]) -> Iterator[OverdueUse]:
    by_assembly: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    for assembly, *use in rows:
        by_assembly[assembly].append(tuple(use))
    reader = SessionReader(session)
    source = Recorded(reader)
    rests = Histories(source)
    codes = source.item_words(by_assembly.keys())
    for assembly, uses in by_assembly.items():
        values = _values(reader, held(reader, [assembly]))
        dates = [one.due_us for one in values.values() if one.due_us is not None]
        first = min(dates, default=None)
        code = codes[assembly][0]
        rests.learn({assembly: code})
        for mode, used_end_us, *use in uses:
            used_us = use[-1]
            if not overdue(first, used_us):
                continue  # nothing that it held was due by then
            for part in rests.rest(code, Moment(used_us, used_end_us), mode, None).held:
                value = values.get(part.source or 0)
                if part.bearing != BY_SHARE or value is None:
                    continue
                if overdue(value.due_us, used_us):
                    yield OverdueUse(value.item, value.issuer, value.number, part.source or 0, *use)


def _values(reader: SessionReader, items: Collection[int]) -> dict[int, _Value]:
    names = ("id", "item_id", "issuer", "number", "due_us")
    columns = ", ".join(f"certificate.{name}" for name in names)
    rows = rows_of(reader, columns, "certificate", "item_id", items)
    return {key: _Value(*rest) for key, *rest in rows}
