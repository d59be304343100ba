"""What was put right of a record that is not a use: the old record, the new one, by whom and why.

One history for holdings, checks, calibrations and the identity of items; technical records keep
the original entry, the correction and who made it (ISO/IEC 17025:2017, 7.5.2, from memory).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue
from api.services.base.record import Record
from api.services.base.recording import Recording
from api.store.chunks import chunks
from api.store.journal import note as journal_note
from api.store.tables import RecordCorrection
from graph.moments import text_of

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
    """Return the corrections of these records by key, oldest first."""
    found: dict[int, list[Record]] = {}
    for some in chunks(sorted(keys)):
        for row in session.scalars(
            select(RecordCorrection)
            .where(RecordCorrection.collection == collection, RecordCorrection.record_id.in_(some))
            .order_by(RecordCorrection.id)
        ):
            shown = swap_answer(row) if collection == IDENTITY else answer(row)
            found.setdefault(row.record_id, []).append(shown)
    return found


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
