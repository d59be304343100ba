"""A wrongly recorded check, put right, or withdrawn: evidence that was none must narrow nothing.

The row keeps its id and its digest, as a corrected holding does.
"""

from __future__ import annotations

from api.services.base.record import Record
from api.services.base.recording import REMARKS, Recording
from api.services.records import checks, record_corrections
from api.services.records.record_corrections import CHECKS, marked
from api.store.record_changes import touched
from api.store.tables import Check

_KEPT = ("code", "content_hash", "recorded_us", "withdrawn")


def correct(recording: Recording, check: Check, correction: Record) -> None:
    """Correct a check, and tell stored recalls.

    Raises InvalidRecord if the check would say what it says already, or names what is not recorded.
    """
    session = recording.session
    recording.single = checks.COLLECTION.name
    before = checks.as_sent(session, check)
    fields = ("item", "at", "against", *checks.COLUMNS, *REMARKS)
    after = before | {name: correction[name] for name in fields if name in correction}
    after = {name: value for name, value in after.items() if value is not None}
    withdrawn = correction.get("withdrawn", check.withdrawn)
    was = marked(before, withdrawn=check.withdrawn)
    now = marked(after, withdrawn=withdrawn)
    record_corrections.refuse_same("check", was, now)
    concerned = {check.item_id, check.against_id}
    recording.know_items({after[link] for link in ("item", "against") if link in after})
    row = checks.row_of(recording, 0, after)
    recording.check()
    for name in row.keys() - set(_KEPT):
        setattr(check, name, row[name])
    check.withdrawn = withdrawn
    session.flush()
    record_corrections.keep(recording, CHECKS, check.id, was, now, correction)
    changed = record_corrections.changed(correction)
    record_corrections.journal(
        session, "check corrected", correction, id=check.code, changed=changed
    )
    concerned |= {check.item_id, check.against_id}
    items = [key for key in concerned if key is not None]
    touched(session, f"check {check.code} was corrected", recording.now_us, items=items)
