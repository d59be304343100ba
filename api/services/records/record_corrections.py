"""What was put right of a record that is not a use: the old record, the new one, by whom and why.

One history for holdings, checks, calibrations and the identity of items; technical records keep
the original entry, the correction and who made it (ISO/IEC 17025:2017, 7.5.2, from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue
from api.services.base.record import Record
from api.services.base.recording import Recording
from api.store.chunks import chunks
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.tables import RecordCorrection
from graph.moments import text_of

# So many of a history stand in the answer of its record; the others are listed by pages.
MOST = 20
COMPOSITION, CHECKS, CALIBRATIONS, IDENTITY = "composition", "checks", "calibrations", "identity"


def keep(
    recording: Recording,
    collection: str,
    key: int,
    before: Record,
    after: Record,
    correction: Record,
) -> RecordCorrection:
    """Keep a correction, which says `by` and `reason`; what changes is written by the caller."""
    row = RecordCorrection(
        collection=collection,
        record_id=key,
        before=plain(before),
        after=plain(after),
        person=correction["by"],
        reason=correction["reason"],
        at_us=recording.now_us,
    )
    recording.session.add(row)
    return row


def marked(record: Record, *, withdrawn: bool) -> Record:
    """Return a record as it is kept: one that was withdrawn says so."""
    return record | {"withdrawn": True} if withdrawn else record


def refuse_same(what: str, before: Record, after: Record) -> None:
    """Raise InvalidRecord if a correction leaves a record (`what`: check, holding) as it was."""
    if plain(before) == plain(after):
        issue = Issue("", f"the {what} says so already", "name a field with its right value")
        raise InvalidRecord("nothing to correct", [issue])


def changed(correction: Record) -> list[str]:
    """Return the fields that a correction names, as they are sent."""
    return sorted(name.rstrip("_") for name in correction if name not in ("by", "reason"))


def journal(session: Session, what: str, correction: Record, **facts: Any) -> None:
    """Add the correction to the journal's line of this transaction."""
    journal_note(session, what, by=correction["by"], reason=correction["reason"], **facts)


def of(session: Session, collection: str, keys: Collection[int]) -> dict[int, list[Record]]:
    """Return the corrections of these records by key, oldest first; all there are."""
    found: dict[int, list[Record]] = {}
    for some in chunks(sorted(keys)):
        for row in session.scalars(
            select(RecordCorrection)
            .where(RecordCorrection.collection == collection, RecordCorrection.record_id.in_(some))
            .order_by(RecordCorrection.id)
        ):
            found.setdefault(row.record_id, []).append(_shown(row))
    return found


def latest(
    session: Session,
    collection: str,
    keys: Collection[int],
    name: str,
    address: Callable[[int], str],
) -> dict[int, Record]:
    """Return what the answer of each corrected record says of its history, under `name`.

    At most the latest MOST, oldest first. Where there are more, `all_` with the name says how many,
    and at which `address` of the record (by its key) they are listed by pages.
    """
    rank = func.row_number().over(
        partition_by=RecordCorrection.record_id, order_by=RecordCorrection.id.desc()
    )
    count = func.count().over(partition_by=RecordCorrection.record_id)
    found: dict[int, Record] = {}
    for some in chunks(sorted(keys)):
        ranked = (
            select(RecordCorrection.id, rank.label("rank"), count.label("count"))
            .where(RecordCorrection.collection == collection, RecordCorrection.record_id.in_(some))
            .subquery()
        )
        rows = session.execute(
            select(RecordCorrection, ranked.c.count)
            .join(ranked, ranked.c.id == RecordCorrection.id)
            .where(ranked.c.rank <= MOST)
            .order_by(RecordCorrection.id)
        )
        for row, many in rows:
            told = found.setdefault(row.record_id, {name: []})
            told[name].append(_shown(row))
            if many > MOST:
                told[f"all_{name}"] = {"count": many, "href": address(row.record_id)}
    return found


def find(
    session: Session, collection: str, key: int, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of the corrections of one record, oldest first."""
    mine = (RecordCorrection.collection == collection) & (RecordCorrection.record_id == key)
    found = select(RecordCorrection).where(mine)
    rows, behind = page(session, found, [RecordCorrection.id], after, limit)
    return [_shown(row[0]) for row in rows], behind


def _shown(row: RecordCorrection) -> Record:
    return swap_answer(row) if row.collection == IDENTITY else answer(row)


def answer(row: RecordCorrection) -> Record:
    """Return one correction as the API shows it."""
    return {
        "before": row.before,
        "after": row.after,
        "by": row.person,
        "reason": row.reason,
        "at": text_of(row.at_us),
    }


def swap_answer(row: RecordCorrection) -> Record:
    """Return an exchange of two items as the API shows it."""
    said = answer(row)
    shown: Record = said.pop("before") | said.pop("after")
    return shown | said


def plain(value: Any) -> Any:
    """Return a record with its decimals as text and its names as they are sent."""
    if isinstance(value, Mapping):
        return {str(name).rstrip("_"): plain(one) for name, one in value.items() if one is not None}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    return format(value, "f") if isinstance(value, Decimal) else value
