"""Customers that are sent no notice of a recall, and certificates of which nobody is told.

One for whom a name and a reason stand: somebody may have been told in person, or the customer may
be a department of the house; a certificate without customer may be of an item that was scrapped. It
stands in the case, which can become notified without that notice.
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import insert
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue, UnknownReference, pointer
from api.services.base.record import Record
from api.services.casework.dispositions import entries_named
from api.services.casework.told import customers, nobodys
from api.services.feed import changes
from api.store.casework import NoticeException, RecallCase
from api.store.journal import note as journal_note


def record(session: Session, case: RecallCase, sent: Record, now_us: int) -> int:
    """Record why customers are sent no notice, or nobody is told of certificates; return how many.

    Raises
    ------
    Conflict
        If the case is closed.
    UnknownReference
        If a customer named is not concerned, or was sent its notice, or if it is known who is to be
        told of a certificate, or that nobody is; nothing is stored.
    """
    if case.state == "closed":
        raise Conflict("the case is closed; report the fault again to take a second look")
    left_out = _customers(session, case.recall_id, sent.get("customers", ()))
    untold = _certificates(session, case.recall_id, sent.get("certificates", ()))
    common = {
        "recall_id": case.recall_id,
        "person": sent["by"],
        "reason": sent["reason"],
        "at_us": now_us,
    }
    rows = [
        *(common | {"customer_id": key, "certificate_id": None} for key in left_out),
        *(common | {"customer_id": None, "certificate_id": key} for key in untold),
    ]
    session.execute(insert(NoticeException), rows)
    said: list[Record] = [{"customer": name} for name in left_out.values()]
    said += [{"certificate": name} for name in untold.values()]
    for one in said:
        journal_note(
            session,
            "notice exception",
            by=sent["by"],
            recall=case.recall_id,
            reason=sent["reason"],
            **one,
        )
    changes.note(
        session, "case.changed", now_us, recall_id=case.recall_id, detail="notice exception"
    )
    case.version += 1
    session.flush()
    return len(rows)


def _customers(session: Session, recall_id: int, names: Sequence[str]) -> dict[int, str]:
    """Names of the customers by key; refused together if any is not meant."""
    known = {row.name: row for row in session.execute(customers(recall_id))}
    issues = []
    for place, name in enumerate(names):
        at = pointer("customers", place)
        if name not in known:
            issues.append(Issue(at, "not concerned by this recall", "leave it out", name))
        elif known[name].told:
            issues.append(Issue(at, "was sent its notice", "leave it out", name))
    if issues:
        raise UnknownReference(f"{len(issues)} customer(s) refused; nothing stored", issues)
    return {known[name].id: name for name in names}


def _certificates(session: Session, recall_id: int, names: Sequence[Record]) -> dict[int, str]:
    """Certificates without anybody to tell, by key; refused together if any is not one."""
    if not names:
        return {}
    lost = {row.certificate_id for row in session.execute(nobodys(recall_id))}
    meant = {row.certificate_id: row for row in entries_named(session, recall_id, names)}
    issues = [
        Issue(
            "/certificates",
            "it is known who is to be told of it, or nobody is",
            "leave it out, or name its customer under `customers`",
            f"{row.number} rev. {row.revision}",
        )
        for key, row in meant.items()
        if key not in lost
    ]
    if issues:
        raise UnknownReference(f"{len(issues)} certificate(s) refused; nothing stored", issues)
    return {key: f"{row.number} rev. {row.revision}" for key, row in meant.items()}
