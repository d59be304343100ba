"""Holdings of two items that were taken for each other, cut at the bounds of that time.

What lies within is of the other item. The row of a holding keeps its key for its first piece; each
further piece is a row of its own. Bounds that were made by cutting are written as instants in UTC.
Pieces that say the same again, since the exchange was taken back, become the one row that they
were, which takes over their histories.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, insert, or_, select, true, update
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue
from api.services.base.record import Record, digest
from api.services.base.recording import Recording
from api.services.records import record_corrections
from api.services.records.compositions import record_of
from api.services.records.record_corrections import COMPOSITION
from api.store.reading import SessionReader
from api.store.records import item_codes
from api.store.tables import Composition, RecordCorrection
from graph.moments import text_of

# Out of the way of every instant, while rows change places.
_ASIDE = -(2**61)


class Piece(NamedTuple):
    """A stretch of a holding, in microseconds (no end: open), and whether it is exchanged."""

    from_us: int
    until_us: int | None
    exchanged: bool


def pieces(from_us: int, until_us: int | None, start_us: int, end_us: int | None) -> list[Piece]:
    """Cut a holding at the bounds of a time, from start (inclusive) until end (exclusive).

    Either end may be open.

    >>> [tuple(piece) for piece in pieces(0, None, 10, 20)]
    [(0, 10, False), (10, 20, True), (20, None, False)]
    """
    cuts = [
        at
        for at in (start_us, end_us)
        if at is not None and from_us < at and (until_us is None or at < until_us)
    ]
    starts, ends = [from_us, *cuts], [*cuts, until_us]
    return [
        Piece(start, end, start_us <= start and (end_us is None or start < end_us))
        for start, end in zip(starts, ends, strict=True)
    ]


def swap_holdings(
    recording: Recording,
    items: Sequence[int],
    from_us: int,
    until_us: int | None,
    correction: Record,
) -> int:
    """Exchange two items in the holdings of a time; return how many holdings are concerned.

    Raises Conflict where a holding would stand twice.
    """
    session = recording.session
    rows = session.scalars(
        select(Composition)
        .where(
            or_(Composition.assembly_id.in_(items), Composition.part_id.in_(items)),
            true() if until_us is None else Composition.from_us < until_us,
            or_(Composition.until_us.is_(None), Composition.until_us > from_us),
        )
        .order_by(Composition.id)
    ).all()
    if not rows:
        return 0
    values = []
    for one in rows:
        cut = pieces(one.from_us, one.until_us, from_us, until_us)
        values.append([_values(one, piece, items) for piece in cut])
    whole = [_values(one, Piece(one.from_us, one.until_us, False), items) for one in rows]
    before = _records(session, whole)
    keys = [one.id for one in rows]
    session.execute(
        update(Composition)
        .where(Composition.id.in_(keys))
        .values(from_us=_ASIDE - Composition.id)
        .execution_options(synchronize_session=False)
    )
    _refuse_twice(session, [value for some in values for value in some])
    _write(recording, keys, values, before, correction)
    _join(recording, items, (from_us, until_us), correction)
    return len(rows)


def _join(
    recording: Recording, items: Sequence[int], seams: Sequence[int | None], correction: Record
) -> None:
    """Make one holding of pieces that touch at a bound of the time and say the same."""
    session = recording.session
    session.flush()
    session.expire_all()
    rows = session.scalars(
        select(Composition)
        .where(
            or_(Composition.assembly_id.in_(items), Composition.part_id.in_(items)),
            Composition.withdrawn.is_(False),
        )
        .order_by(Composition.assembly_id, Composition.part_id, Composition.from_us)
    ).all()
    first: Composition | None = None
    for one in rows:
        touches = first is not None and first.until_us == one.from_us in seams
        if first is None or not touches or _told(first) != _told(one) or not _cut(session, one):
            first = one
            continue
        codes = item_codes(SessionReader(session), {one.assembly_id, one.part_id})
        was = record_of(first, codes)
        first.held_until, first.until_us = one.held_until, one.until_us
        session.execute(
            update(RecordCorrection)
            .where(_of_holding(one))
            .values(record_id=first.id)
            .execution_options(synchronize_session=False)
        )
        session.delete(one)
        session.flush()
        now = record_of(first, codes)
        record_corrections.keep(recording, COMPOSITION, first.id, was, now, correction)


def _told(one: Composition) -> tuple[Any, ...]:
    """What a holding says, without its time."""
    return one.assembly_id, one.part_id, one.share, one.note, one.remarks


def _cut(session: Session, one: Composition) -> bool:
    """Whether a row was made by cutting another; what somebody recorded stays as it is."""
    kept = select(RecordCorrection.before).where(_of_holding(one))
    return any("id" in before for before in session.scalars(kept))


def _of_holding(one: Composition) -> ColumnElement[bool]:
    return (RecordCorrection.collection == COMPOSITION) & (RecordCorrection.record_id == one.id)


def _values(one: Composition, piece: Piece, items: Sequence[int]) -> dict[str, Any]:
    """Columns of a piece of a holding."""

    def of(key: int) -> int:
        return sum(items) - key if piece.exchanged and key in items else key

    ends_as_before = piece.until_us == one.until_us
    return {
        "assembly_id": of(one.assembly_id),
        "part_id": of(one.part_id),
        "held_from": one.held_from if piece.from_us == one.from_us else text_of(piece.from_us),
        "held_until": one.held_until if ends_as_before else text_of(piece.until_us or 0),
        "from_us": piece.from_us,
        "until_us": piece.until_us,
        "share": one.share,
        "note": one.note,
        "remarks": one.remarks,
        "withdrawn": one.withdrawn,
    }


def _records(session: Session, values: Sequence[dict[str, Any]]) -> list[Record]:
    """Holdings as they would be sent."""
    keys = {one[end] for one in values for end in ("assembly_id", "part_id")}
    codes = item_codes(SessionReader(session), keys)
    return [record_of(Composition(**one), codes) for one in values]


def _refuse_twice(session: Session, values: Sequence[dict[str, Any]]) -> None:
    seen: set[tuple[int, int, int]] = set()
    for one in values:
        identity = one["assembly_id"], one["part_id"], one["from_us"]
        other = session.scalar(
            select(Composition.id).where(
                Composition.assembly_id == identity[0],
                Composition.part_id == identity[1],
                Composition.from_us == identity[2],
            )
        )
        if other is not None or identity in seen:
            remedy = "mend the holdings of both items first"
            issue = Issue("/items", f"a holding from {one['held_from']} would stand twice", remedy)
            raise Conflict("the holdings cannot be exchanged", [issue])
        seen.add(identity)


def _write(
    recording: Recording,
    keys: Sequence[int],
    values: Sequence[Sequence[dict[str, Any]]],
    before: Sequence[Record],
    correction: Record,
) -> None:
    session = recording.session
    for key, some, was in zip(keys, values, before, strict=True):
        first, *further = some
        records = _records(session, some)
        session.execute(
            update(Composition)
            .where(Composition.id == key)
            .values(**first, version=Composition.version + 1)
            .execution_options(synchronize_session=False)
        )
        record_corrections.keep(recording, COMPOSITION, key, was, records[0], correction)
        for value, record in zip(further, records[1:], strict=True):
            made = session.scalars(
                insert(Composition).returning(Composition.id),
                [
                    value
                    | {
                        "content_hash": digest(record),
                        "recorded_us": recording.now_us,
                        "version": 1,
                    }
                ],
            ).one()
            cut_from = {"id": key} | was
            record_corrections.keep(recording, COMPOSITION, made, cut_from, record, correction)
