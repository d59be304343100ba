"""Reading certificates, and the few changes they may undergo: issue, void, a new revision.

An issued certificate is never edited (ISO/IEC 17025:2017, 7.8.8): a correction is a new revision
that takes the place of the old one. Each change resolves again what was in force for the uses of
the item, in the same transaction.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue
from api.services.base.record import Record
from api.services.base.recording import Recording, begin, record_one
from api.services.certificates import calibrations, results
from api.services.certificates.in_force import refuse_circle
from api.services.certificates.use_corrections import corrections
from api.services.feed.changes import note_certificate
from api.services.recalls.states import recall_states
from api.services.records.customers import customer_key
from api.services.records.revisions import choose, revisions
from api.services.uncertainty.cmcs import Scope, below_cmc, scope
from api.store import link_checks, records
from api.store.in_force import resolve_items
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.reading import SessionReader
from api.store.record_changes import touched
from api.store.tables import (
    Certificate,
    DecisionRule,
    Item,
    Recall,
    RecallEntry,
    Result,
    Specification,
    Usage,
)
from api.store.uncertainty import UncertaintyBudget
from graph.recall import AFFECTED, EXPOSED, INDETERMINATE

HEAD = (
    "revision",
    "status",
    "performed_at",
    "issued_at",
    "due_at",
    "external",
    "accreditation",
    "method",
    "mode",
    "adjusted",
    "assigns_value",
    "amendment",
    "superseded_by",
    "void_reason",
    "load_applications",
    "note",
)
RESULT = (*results.COLUMNS, "tolerance", "tolerance_rel_pct")
USE = ("role", "weight", "channel", "points", "performed_at", "factor_applied", "override", "note")


def answer(session: Session, certificate: Certificate) -> Record:
    """Return a certificate with its uses, results, other revisions and recalls."""
    (shown,) = heads(session, [certificate])
    others = revisions(session, certificate.number, certificate.issuer)
    shown["revisions"] = [{"revision": one.revision, "status": one.status} for one in others]
    shown["recalls"] = _recalls(session, certificate.id)
    shown["uses"] = _uses(session, certificate.id)
    shown["use_corrections"] = corrections(session, certificate.id)
    shown["results"] = _results(session, certificate)
    return shown


def heads(session: Session, certificates: Sequence[Certificate]) -> list[Record]:
    """Return what certificates say besides their uses and results, and whether to rely on them."""
    reader = SessionReader(session)
    items = records.item_codes(reader, {one.item_id for one in certificates})
    customers = records.customer_names(reader, {one.customer_id or 0 for one in certificates})
    states = recall_states(session, [one.id for one in certificates])
    shown = []
    for one in certificates:
        values: Record = {"certificate": one.number, "issuer": one.issuer or None}
        values |= {"item": items[one.item_id], "customer": customers.get(one.customer_id or 0)}
        values |= {name: getattr(one, name) for name in HEAD} | (one.remarks or {})
        said = {name: value for name, value in values.items() if value is not None}
        shown.append(said | {"recall_state": states[one.id], "version": one.version})
    return shown


def find(
    session: Session,
    filters: Record,
    after: Sequence[Any] | None,
    limit: int,
    owner: str | None = None,
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of certificates, in the order they were recorded; of one owner if named."""
    statement = select(Certificate)
    if "status" in filters:
        statement = statement.where(Certificate.status == filters["status"])
    if "item" in filters:
        item = select(Item.id).where(Item.code == filters["item"]).scalar_subquery()
        statement = statement.where(Certificate.item_id == item)
    for name in (filters.get("customer"), owner):
        if name is not None:
            statement = statement.where(Certificate.customer_id == customer_key(name))
    rows, key = page(session, statement, [Certificate.id], after, limit)
    return heads(session, [row[0] for row in rows]), key


def void(recording: Recording, certificate: Certificate, reason: str) -> Certificate:
    """Void a certificate for a reason; what rested on it is resolved anew."""
    if certificate.status == "voided":
        raise Conflict(f'certificate "{certificate.number}" is voided already')
    certificate.status, certificate.void_reason = "voided", reason
    why = f"certificate {certificate.number} was voided"
    _resolve_again(recording, [certificate], why)
    note_certificate(recording.session, "certificate.voided", certificate, recording.now_us)
    _journal(recording.session, "certificate voided", certificate, reason=reason)
    return certificate


def issue(recording: Recording, certificate: Certificate, issued_at: str) -> Certificate:
    """Issue a draft; an amended one takes the place of the earlier revision that is issued."""
    if certificate.status != "draft":
        raise Conflict(f'certificate "{certificate.number}" is {certificate.status}, not a draft')
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
    _resolve_again(recording, changed, f"certificate {certificate.number} was issued")
    note_certificate(recording.session, "certificate.issued", certificate, recording.now_us)
    _journal(recording.session, "certificate issued", certificate, issued_at=issued_at)
    return certificate


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
    return choose(session, number, record.get("issuer", ""), record["revision"])


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
    session, items = recording.session, {one.item_id for one in changed}
    session.flush()
    resolve_items(session, sorted(items))
    recording.single = "certificates"
    refuse_circle(
        recording, {key for item in items for key in link_checks.certificates_of(session, item)}
    )
    recording.check()
    touched(session, why, recording.now_us, certificates=[one.id for one in changed])


def _recalls(session: Session, certificate: int) -> list[Record]:
    """Recalls that list the certificate, newest first."""
    rows = session.execute(
        select(Recall.id, Recall.number, RecallEntry.list_name, RecallEntry.verdict_changes)
        .join(Recall, Recall.id == RecallEntry.recall_id)
        .where(
            RecallEntry.certificate_id == certificate,
            RecallEntry.list_name.in_((AFFECTED, EXPOSED, INDETERMINATE)),
        )
        .order_by(Recall.id.desc())
    )
    return [
        {
            "id": row.id,
            "number": row.number,
            "class": row.list_name,
            "verdict_changes": row.verdict_changes,
        }
        for row in rows
    ]


def _uses(session: Session, certificate: int) -> list[Record]:
    rows = session.execute(
        select(Usage, Item.code)
        .join(Item, Item.id == Usage.item_id)
        .where(Usage.certificate_id == certificate)
        .order_by(Usage.position)
    ).all()
    sources = {row.Usage.source_id for row in rows if row.Usage.source_id is not None}
    found = {row.id: row for row in records.certificates(SessionReader(session), sources)}
    shown = []
    for row in rows:
        values = {"item": row.code} | {name: getattr(row.Usage, name) for name in USE}
        if row.Usage.named_certificate is not None:
            values["certificate"] = row.Usage.named_certificate
            values["revision"] = row.Usage.named_revision
        source = found.get(row.Usage.source_id)
        if source is not None:
            values["in_force"] = {"certificate": source.number, "revision": source.revision}
        values |= row.Usage.remarks or {}
        shown.append({name: value for name, value in values.items() if value is not None})
    return shown


def _results(session: Session, certificate: Certificate) -> list[Record]:
    rows = session.execute(
        select(
            Result,
            DecisionRule.code,
            DecisionRule.rule_version,
            Specification.spec_version,
            UncertaintyBudget.code.label("budget"),
        )
        .outerjoin(DecisionRule, DecisionRule.id == Result.rule_id)
        .outerjoin(Specification, Specification.id == Result.specification_id)
        .outerjoin(UncertaintyBudget, UncertaintyBudget.id == Result.budget_id)
        .where(Result.certificate_id == certificate.id)
        .order_by(Result.position)
    )
    held = _held(session, certificate)
    shown = []
    for row in rows:
        values = {name: getattr(row.Result, name) for name in RESULT}
        values |= {
            "rule": row.code,
            "rule_version": row.rule_version,
            "specification_version": row.spec_version,
            "budget": row.budget,
            "below_cmc": None if held is None else below_cmc(held, values),
        }
        values |= row.Result.remarks or {}
        shown.append({name: value for name, value in values.items() if value is not None})
    return shown


def _held(session: Session, certificate: Certificate) -> Scope | None:
    """Return the capabilities that its results are compared with; none for those of others."""
    if certificate.external:
        return None
    kind = session.scalar(select(Item.type).where(Item.id == certificate.item_id))
    return scope(session, certificate.mode, kind)
