"""The fault that an alert would be answered by, ready to be looked at and reported.

From results as found the errors become the fault (`api.services.recalls.fault_drafts`). Whatever
else failed says not by how much, so that the fault is of the kind `unknown`, which lists everything
it reached for review; who knows more says so. The window goes back to the last good values as left;
checks that could have seen the fault narrow it when it is reported. It ends with the failure only
where nothing used the item after that.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.errors import InvalidRecord
from api.services.alerts.failures import CHECK, FOUND, OVERDUE
from api.services.base.record import Record
from api.services.recalls import fault_drafts
from api.store.alerts import Alert
from api.store.tables import Certificate, Check, Item

_UNKNOWN = (
    "by how much it was wrong is not recorded, so that everything it reached is listed for review; "
    "where an error, a bound or an effect by type is known, report that kind of fault instead"
)

_SHOWN_BY = {CHECK: "check", FOUND: "calibration"}


def draft(session: Session, alert: Alert) -> Record:
    """Return the fault that an alert shows, and notes on what to look at; nothing is stored."""
    if alert.kind == FOUND and alert.certificate_id is not None:
        shown = session.get_one(Certificate, alert.certificate_id)
        try:
            return fault_drafts.draft(session, shown.number, shown.issuer, shown.revision)
        except InvalidRecord:  # its results have no force, or no error
            meaning = f"failed as found in certificate {shown.number}"
            return _unknown(session, alert, meaning, [])
    if alert.kind == CHECK and alert.check_id is not None:
        check = session.get_one(Check, alert.check_id)
        kind = "" if check.kind is None else f" ({check.kind})"
        meaning = f"failed check {check.code}{kind}"
        return _unknown(session, alert, meaning, [])
    meaning = "used after its calibration was overdue"
    notes = [
        "an overdue item need not be wrong: a calibration that finds it good is a reason to answer "
        "the alert without a fault",
        "isolated_at is the last use that is known of; if only what was done after the date is "
        "doubted, begin the window there",
    ]
    return _unknown(session, alert, meaning, notes)


def _unknown(session: Session, alert: Alert, meaning: str, notes: list[str]) -> Record:
    item = session.get_one(Item, alert.item_id)
    before, passed_over = fault_drafts.last_good(session, item.id, alert.at_us)
    isolated_at: str | None = alert.until  # the last use of an overdue item
    ending = []
    if alert.kind != OVERDUE:
        failed_us, shown_by = (alert.at_us, alert.until_us), _SHOWN_BY[alert.kind]
        isolated_at, note = fault_drafts.window_end(session, item, alert.at, failed_us, shown_by)
        ending = [note]
    fault: Record = {
        "item": item.code,
        "kind": "unknown",
        "last_good_at": None if before is None else before.performed_at,
        "isolated_at": isolated_at,
        "meaning": meaning,
    }
    window = fault_drafts.window_notes(before, passed_over)
    return {"fault": fault, "notes": [_UNKNOWN, *notes, *ending, *window]}
