"""Which customer is sent no notice of a recall? One for whom a name and a reason stand.

Somebody may have been told in person, or the customer may be a department of the house. It stands
in the case with a name, and the case can become notified without that notice.
"""

from __future__ import annotations

from sqlalchemy import insert
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue, UnknownReference, pointer
from api.services.base.record import Record
from api.services.casework.told import customers
from api.services.feed import changes
from api.store.casework import NoticeException, RecallCase
from api.store.journal import note as journal_note


def record(session: Session, case: RecallCase, sent: Record, now_us: int) -> int:
    """Record why customers are sent no notice; return for how many.

    Raises
    ------
    Conflict
        If the case is closed.
    UnknownReference
        If a customer named is not concerned, or was sent its notice; nothing is stored.
    """
    if case.state == "closed":
        raise Conflict("the case is closed; report the fault again to take a second look")
    known = {row.name: row for row in session.execute(customers(case.recall_id))}
    issues = []
    for place, name in enumerate(sent["customers"]):
        at = pointer("customers", place)
        if name not in known:
            issues.append(Issue(at, "not concerned by this recall", "leave it out", name))
        elif known[name].told:
            issues.append(Issue(at, "was sent its notice", "leave it out", name))
    if issues:
        raise UnknownReference(f"{len(issues)} customer(s) refused; nothing stored", issues)
    meant = {known[name].id: name for name in sent["customers"]}
    rows = [
        {
            "recall_id": case.recall_id,
            "customer_id": key,
            "person": sent["by"],
            "reason": sent["reason"],
            "at_us": now_us,
        }
        for key in meant
    ]
    session.execute(insert(NoticeException), rows)
    for name in meant.values():
        journal_note(
            session,
            "notice exception",
            by=sent["by"],
            recall=case.recall_id,
            customer=name,
            reason=sent["reason"],
        )
    changes.note(
        session, "case.changed", now_us, recall_id=case.recall_id, detail="notice exception"
    )
    case.version += 1
    session.flush()
    return len(rows)
