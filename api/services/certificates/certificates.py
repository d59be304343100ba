"""Issuing, voiding and revising certificates, and reading them.

An issued certificate is never edited (ISO/IEC 17025:2017, 7.8.8): a correction is a new revision
that takes the place of the old one. Each change resolves again what was in force for the uses of
the item, in the same transaction.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue
from api.services.base.record import Record
from api.services.base.recording import Recording, begin, record_one
from api.services.certificates import agreed, asked, calibrations, certificate_rows, contents
from api.services.certificates.circles import refuse_through_parts
from api.services.certificates.in_force import refuse_circle
from api.services.feed.changes import note_certificate
from api.services.grounds.grounds import shown
from api.services.grounds.issues import at_issue, settle
from api.services.recalls.recall_states import recall_states
from api.services.records.customers import customer_key
from api.services.records.revisions import choose, revisions
from api.store import link_checks, records
from api.store.in_force import resolve_items
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.reading import SessionReader
from api.store.record_changes import touched
from api.store.serving import refresh
from api.store.tables import (
    Certificate,
    Item,
)
from graph.moments import text_of

# What is to be done with a certificate that is sent to be issued and is no draft.
_REMEDY = {
    "issued": "nothing more need be done; to change it record its next revision (.../revisions)",
    "superseded": "issue the draft of a later revision, or record one (.../revisions)",
    "voided": "record its next revision, or another certificate; a void is not undone",
}


def answer(session: Session, certificate: Certificate) -> Record:
    """Return a certificate with its uses, results, other revisions and recalls."""
    (head,) = heads(session, [certificate])
    others = revisions(session, certificate.number, certificate.issuer)
    head["revisions"] = [{"revision": one.revision, "status": one.status} for one in others]
    if certificate.fault_corrections is not None:
        head["fault_corrections"] = certificate.fault_corrections
    return head | contents.parts(session, certificate)


def heads(session: Session, certificates: Sequence[Certificate]) -> list[Record]:
    """Return what certificates say besides their uses and results, and whether to rely on them."""
    reader = SessionReader(session)
    items = records.item_codes(reader, {one.item_id for one in certificates})
    customers = records.customer_names(reader, {one.customer_id or 0 for one in certificates})
    states = recall_states(session, [one.id for one in certificates])
    found = []
    for one in certificates:
        values: Record = {"certificate": one.number, "issuer": one.issuer or None}
        values |= {"item": items[one.item_id], "customer": customers.get(one.customer_id or 0)}
        values |= {name: getattr(one, name) for name in certificate_rows.HEAD} | (one.remarks or {})
        values["set_up_check"] = one.setup_check_id
        said = {name: value for name, value in values.items() if value is not None}
        found.append(said | {"recall_state": states[one.id], "version": one.version})
    return found


def find(
    session: Session,
    filters: Record,
    after: Sequence[Any] | None,
    limit: int,
    owner: str | None = None,
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of certificates, in the order they were recorded; of one owner if named."""
    statement = matching(select(Certificate), filters)
    if owner is not None:
        statement = statement.where(Certificate.customer_id == customer_key(owner))
    rows, key = page(session, statement, [Certificate.id], after, limit)
    return heads(session, [row[0] for row in rows]), key


def matching(statement: Select[Any], filters: Record) -> Select[Any]:
    """Return a statement on certificates, narrowed to `status`, `item` and `customer`."""
    if "status" in filters:
        statement = statement.where(Certificate.status == filters["status"])
    if "item" in filters:
        item = select(Item.id).where(Item.code == filters["item"]).scalar_subquery()
        statement = statement.where(Certificate.item_id == item)
    if "customer" in filters:
        statement = statement.where(Certificate.customer_id == customer_key(filters["customer"]))
    return statement


def void(
    recording: Recording, certificate: Certificate, reason: str, voided_at: str | None = None
) -> Certificate:
    """Void a certificate for a reason, from an instant on; without one, from now on.

    Who used its value before stays a user of it; later uses are resolved anew. A draft served
    nobody, and does not after the fact.
    """
    if certificate.status == "voided":
        _refuse_void_again(certificate, voided_at)
    else:
        certificate.never_issued = certificate.status == "draft"
        certificate.status, certificate.void_reason = "voided", reason
    # One that was performed in the future, by a slip, can be voided all the same.
    now = text_of(max(recording.now_us, certificate.performed_us))
    at = now if voided_at is None else voided_at
    _refuse_void_at(recording, certificate, at)
    certificate.voided_at, certificate.voided_us = at, recording.moment(at).end_us
    why = f"certificate {certificate.number} was voided"
    _resolve_again(recording, [certificate], why)
    note_certificate(recording.session, "certificate.voided", certificate, recording.now_us)
    _journal(recording.session, "certificate voided", certificate, reason=reason, voided_at=at)
    return certificate


def _refuse_void_again(certificate: Certificate, voided_at: str | None) -> None:
    """Let a void whose date nobody knew have one; otherwise it stays as it is."""
    dated = certificate.voided_at is not None or certificate.never_issued
    if voided_at is not None and not dated:
        return
    since = f"since {certificate.voided_at}" if dated else "since nobody knows when"
    remedy = "nothing more need be done" if dated else "send voided_at to give it its instant"
    detail = f"voided {since}: {certificate.void_reason}"
    raise Conflict(
        f'certificate "{certificate.number}" is voided already',
        [Issue("" if voided_at is None else "/voided_at", detail, remedy, voided_at)],
    )


def _refuse_void_at(recording: Recording, certificate: Certificate, at: str) -> None:
    void_at = recording.moment(at)
    recording.single = "certificates"
    if void_at.end_us < certificate.performed_us:
        remedy = f"it was calibrated {certificate.performed_at}; send that instant or a later one"
        recording.refuse("/voided_at", "before the calibration", remedy, at)
    if void_at.start_us > max(recording.now_us, certificate.performed_us):
        remedy = "send the instant since which it does not hold; leave it out for now"
        recording.refuse("/voided_at", "in the future", remedy, at)
    recording.check()


def issue(recording: Recording, certificate: Certificate, change: Record) -> Certificate:
    """Issue a draft; an amended one takes the place of the earlier revision that is issued.

    `change` has `issued_at`, who answers for it (`override`), if anybody, and what the draft did
    not say yet. Raises InvalidRecord for what it should say, DoubtfulGround if something speaks
    against it and nobody answers for it.
    """
    if certificate.status != "draft":
        detail = f'certificate "{certificate.number}" is {certificate.status}, not a draft'
        raise Conflict(detail, [Issue("", detail, _REMEDY[certificate.status])])
    asked.say(certificate, change)
    issued_at: str = change["issued_at"]
    recording.single = "certificates"
    certificate_rows.refuse_issued_before(
        recording, certificate.performed_us, certificate.performed_at, issued_at, "/issued_at"
    )
    recording.check()
    changed = [certificate]
    for other in revisions(recording.session, certificate.number, certificate.issuer):
        if other.status != "issued":
            continue
        if other.revision > certificate.revision or not certificate.amendment:
            remedy = "record a higher revision with its amendment, as a draft or to .../revisions"
            raise Conflict(
                f"revision {other.revision} is issued",
                [Issue("", "one revision is issued at a time", remedy)],
            )
        _supersede(recording, other, certificate.revision)
        changed.append(other)
    certificate.status, certificate.issued_at = "issued", issued_at
    certificate.issued_us = recording.moment(issued_at).start_us
    certificate.agreement = agreed.at_issue(recording.session, certificate)
    _resolve_again(recording, changed, f"certificate {certificate.number} was issued")
    asked.refuse_unsaid(recording.session, certificate)
    settle(recording.session, certificate, change.get("override"), recording.now_us)
    note_certificate(recording.session, "certificate.issued", certificate, recording.now_us)
    _journal(recording.session, "certificate issued", certificate, issued_at=issued_at)
    return certificate


def record_alone(session: Session, record: Record, now_us: int) -> tuple[Certificate, bool]:
    """Record a calibration that was sent by itself; return its certificate and whether it is new.

    Raises InvalidRecord for what it should say, DoubtfulGround if it is issued, something speaks
    against it and nobody answers for it.
    """
    outcome = record_one(session, calibrations.COLLECTION, record, now_us)
    made = choose(session, record["certificate"], record.get("issuer", ""), record["revision"])
    if outcome.created:
        asked.refuse_unsaid(session, made)
    if outcome.created and made.status == "issued":
        settle(session, made, record.get("override"), now_us, record)
    return made, bool(outcome.created)


def tried(session: Session, record: Record, now_us: int) -> list[Record]:
    """Return what speaks against a calibration, as if it were recorded; nothing is stored.

    The transaction is rolled back. Raises what recording it raises.
    """
    record_one(session, calibrations.COLLECTION, record, now_us)
    made = choose(session, record["certificate"], record.get("issuer", ""), record["revision"])
    asked.refuse_unsaid(session, made)
    found = at_issue(session, made, now_us)
    session.rollback()
    return [shown(one) for one in found]


def replace(session: Session, number: str, record: Record, now_us: int) -> Certificate:
    """Record a new revision that takes the place of the issued one, in one transaction."""
    recording = begin(session, now_us)
    current = choose(session, number, record.get("issuer", ""))
    if record["certificate"] != number:
        issue_ = Issue("/certificate", "not the number in the address", f'send "{number}"')
        raise InvalidRecord("the revision belongs to another certificate", [issue_])
    if record["revision"] <= current.revision:
        issue_ = Issue(
            "/revision",
            f"revision {current.revision} is recorded already",
            f"send {current.revision + 1}",
            str(record["revision"]),
        )
        raise InvalidRecord("a new revision has a higher number", [issue_])
    if not record.get("amendment"):
        issue_ = Issue("/amendment", "missing", "say what was amended and why")
        raise InvalidRecord("a new revision says what it amends", [issue_])
    if current.status == "issued" and record["status"] == "issued":
        _supersede(recording, current, record["revision"])
    record_one(session, calibrations.COLLECTION, record, now_us)
    _resolve_again(recording, [current], f"certificate {number} was revised")
    made = choose(session, number, record.get("issuer", ""), record["revision"])
    asked.refuse_unsaid(session, made)
    if made.status == "issued":
        settle(session, made, record.get("override"), now_us, record)
    return made


def _supersede(recording: Recording, certificate: Certificate, revision: int) -> None:
    certificate.status, certificate.superseded_by = "superseded", str(revision)
    _journal(recording.session, "certificate superseded", certificate, superseded_by=revision)
    note_certificate(
        recording.session, "certificate.superseded", certificate, recording.now_us, str(revision)
    )
    # Before the other one is issued: the store holds one issued revision at most.
    recording.session.flush()


def _journal(session: Session, what: str, certificate: Certificate, **facts: Any) -> None:
    identity: Record = {"certificate": certificate.number, "revision": certificate.revision}
    journal_note(session, what, **identity, issuer=certificate.issuer, **facts)


def _resolve_again(recording: Recording, changed: Sequence[Certificate], why: str) -> None:
    """Find anew what was in force for the uses of the items of changed certificates."""
    session = recording.session
    session.flush()
    items = {one.item_id for one in changed}
    items |= refresh(session, [(one.issuer, one.number) for one in changed])
    resolve_items(session, sorted(items))
    recording.single = "certificates"
    refuse_circle(
        recording, {key for item in items for key in link_checks.certificates_of(session, item)}
    )
    recording.check()
    refuse_through_parts(session, items)
    touched(session, why, recording.now_us, certificates=[one.id for one in changed], items=items)
