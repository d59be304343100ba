"""A wrongly recorded holding, put right: its parts, dates or share, or that there was none.

The row keeps its key and its digest: the file from which it came stays "unchanged" when it is
imported again, whatever was corrected since.
"""

from __future__ import annotations

from sqlalchemy import select

from api.errors import Conflict, Issue
from api.services.base.record import Record
from api.services.base.recording import Recording
from api.services.records import compositions, record_corrections
from api.services.records.record_corrections import COMPOSITION, marked
from api.store.record_changes import touched
from api.store.tables import Composition

FIELDS = ("assembly", "part", "from_", "until", "share")
_COLUMNS = (
    "assembly_id",
    "part_id",
    "held_from",
    "held_until",
    "from_us",
    "until_us",
    "share",
)


def correct(recording: Recording, holding: Composition, correction: Record) -> None:
    """Correct a holding, and tell stored recalls.

    Raises
    ------
    InvalidRecord
        If it would say what it says already, end before it begins, or put a part within itself.
    Conflict
        If the corrected holding is recorded by itself.
    """
    session = recording.session
    recording.single = compositions.COLLECTION.name
    before = compositions.as_sent(session, holding)
    after = before | {name: correction[name] for name in FIELDS if name in correction}
    withdrawn = correction.get("withdrawn", holding.withdrawn)
    was = marked(before, withdrawn=holding.withdrawn)
    record_corrections.refuse_same("holding", was, marked(after, withdrawn=withdrawn))
    concerned = {holding.assembly_id, holding.part_id}
    recording.know_items({after["assembly"], after["part"]})
    start = recording.moment(after["from_"]).start_us
    row = compositions.row_of(recording, 0, after, start)
    recording.check()
    _refuse_other(recording, holding, row["assembly_id"], row["part_id"], start)
    for name in _COLUMNS:
        setattr(holding, name, row[name])
    holding.withdrawn = withdrawn
    session.flush()
    compositions.refuse_circle_of_parts(recording)
    recording.check()
    now = marked(compositions.as_sent(session, holding), withdrawn=withdrawn)
    record_corrections.keep(recording, COMPOSITION, holding.id, was, now, correction)
    changed = record_corrections.changed(correction)
    record_corrections.journal(
        session, "holding corrected", correction, id=holding.id, changed=changed
    )
    concerned |= {holding.assembly_id, holding.part_id}
    touched(session, f"holding {holding.id} was corrected", recording.now_us, items=concerned)


def _refuse_other(
    recording: Recording, holding: Composition, assembly: int, part: int, start: int
) -> None:
    other = recording.session.scalar(
        select(Composition.id).where(
            Composition.assembly_id == assembly,
            Composition.part_id == part,
            Composition.from_us == start,
            Composition.id != holding.id,
        )
    )
    if other is not None:
        remedy = f"withdraw this one, or correct /v1/compositions/{other}"
        issue = Issue("/from", f"holding {other} is of the same part, assembly and start", remedy)
        raise Conflict("the corrected holding is recorded by itself", [issue])
