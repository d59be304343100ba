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

from api.errors import Conflict, InvalidRecord, Issue, NotFound
from api.services import imports
from api.services.recording import Record
from api.store import records
from api.store.in_force import resolve_items
from api.store.paging import KeyValues, page
from api.store.tables import (
    Certificate,
    Customer,
    DecisionRule,
    Item,
    Recall,
    RecallEntry,
    Result,
    Specification,
    Usage,
)
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
RESULT = (
    "point",
    "stage",
    "direction",
    "unit",
    "applied",
    "indicated",
    "error",
    "U",
    "k",
    "dof",
    "error_rel_pct",
    "U_rel_pct",
    "tolerance",
    "tolerance_rel_pct",
    "verdict_reported",
    "note",
)
USE = ("role", "weight", "channel", "points", "performed_at", "factor_applied", "note")


def revisions(session: Session, number: str, issuer: str | None = None) -> list[Certificate]:
    """Return all revisions of a number, newest first; NotFound if there is none.

    Without issuer the laboratory's own certificates are meant, else the only issuer's.
    """
    statement = select(Certificate).where(Certificate.number == number)
    if issuer is not None:
        statement = statement.where(Certificate.issuer == issuer)
    found = list(session.scalars(statement.order_by(Certificate.revision.desc())))
    own = [one for one in found if one.issuer == ""]
    if issuer is None and own:
        found = own
    if not found:
        raise NotFound(f'certificate "{number}" is not recorded')
    issuers = sorted({one.issuer for one in found})
    if len(issuers) > 1:
        issue = Issue("", "several issuers use this number", "add ?issuer=", ", ".join(issuers))
        raise Conflict(f'certificate "{number}" is not one certificate', [issue])
    return found


def choose(
    session: Session, number: str, issuer: str | None = None, revision: int | None = None
) -> Certificate:
    """Return the revision asked for, else the issued one, else the newest."""
    found = revisions(session, number, issuer)
    if revision is None:
        return next((one for one in found if one.status == "issued"), found[0])
    for one in found:
        if one.revision == revision:
            return one
    raise NotFound(f'certificate "{number}" has no revision {revision}')


def answer(session: Session, certificate: Certificate) -> Record:
    """Return a certificate with its uses, results, other revisions and recalls."""
    shown = head(session, certificate)
    others = revisions(session, certificate.number, certificate.issuer)
    shown["revisions"] = [{"revision": one.revision, "status": one.status} for one in others]
    shown["recalls"] = _recalls(session, certificate.id)
    shown["uses"] = _uses(session, certificate.id)
    shown["results"] = _results(session, certificate.id)
    return shown


def head(session: Session, certificate: Certificate) -> Record:
    """Return what a certificate says besides its uses and results."""
    shown: Record = {"certificate": certificate.number}
    if certificate.issuer:
        shown["issuer"] = certificate.issuer
    shown["item"] = session.scalar(select(Item.code).where(Item.id == certificate.item_id))
    if certificate.customer_id is not None:
        name = select(Customer.name).where(Customer.id == certificate.customer_id)
        shown["customer"] = session.scalar(name)
    values = {name: getattr(certificate, name) for name in HEAD}
    shown |= {name: value for name, value in values.items() if value is not None}
    return shown | {"version": certificate.version}


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of certificates, in the order they were recorded."""
    statement = select(Certificate)
    if "status" in filters:
        statement = statement.where(Certificate.status == filters["status"])
    if "item" in filters:
        item = select(Item.id).where(Item.code == filters["item"]).scalar_subquery()
        statement = statement.where(Certificate.item_id == item)
    if "customer" in filters:
        name = select(Customer.id).where(Customer.name == filters["customer"]).scalar_subquery()
        statement = statement.where(Certificate.customer_id == name)
    rows, key = page(session, statement, [Certificate.id], after, limit)
    return [head(session, row[0]) for row in rows], key


def void(session: Session, certificate: Certificate, reason: str, now_us: int) -> Certificate:
    """Void a certificate for a reason; what rested on it is resolved anew."""
    imports.begin(session, now_us)
    if certificate.status == "voided":
        raise Conflict(f'certificate "{certificate.number}" is voided already')
    certificate.status, certificate.void_reason = "voided", reason
    session.flush()
    resolve_items(session, [certificate.item_id])
    return certificate


def issue(session: Session, certificate: Certificate, issued_at: str, now_us: int) -> Certificate:
    """Issue a draft, unless another revision of its number is issued."""
    imports.begin(session, now_us)
    if certificate.status != "draft":
        raise Conflict(f'certificate "{certificate.number}" is {certificate.status}, not a draft')
    for other in revisions(session, certificate.number, certificate.issuer):
        if other.status == "issued":
            raise Conflict(
                f"revision {other.revision} is issued",
                [Issue("", "one revision is issued at a time", "post the draft as a revision")],
            )
    certificate.status, certificate.issued_at = "issued", issued_at
    session.flush()
    resolve_items(session, [certificate.item_id])
    return certificate


def replace(session: Session, number: str, record: Record, now_us: int) -> Certificate:
    """Record a new revision that takes the place of the issued one, in one transaction."""
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
    imports.begin(session, now_us)
    if current.status == "issued" and record["status"] == "issued":
        current.status, current.superseded_by = "superseded", str(record["revision"])
        session.flush()
    imports.record_one(session, "calibrations", record, now_us)
    resolve_items(session, [current.item_id])
    return choose(session, number, record.get("issuer", ""), record["revision"])


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
    found = {row.id: row for row in records.certificates(session, sources)}
    shown = []
    for row in rows:
        values = {"item": row.code} | {name: getattr(row.Usage, name) for name in USE}
        if row.Usage.named_certificate is not None:
            values["certificate"] = row.Usage.named_certificate
            values["revision"] = row.Usage.named_revision
        source = found.get(row.Usage.source_id)
        if source is not None:
            values["in_force"] = {"certificate": source.number, "revision": source.revision}
        shown.append({name: value for name, value in values.items() if value is not None})
    return shown


def _results(session: Session, certificate: int) -> list[Record]:
    rows = session.execute(
        select(Result, DecisionRule.code, DecisionRule.rule_version, Specification.spec_version)
        .outerjoin(DecisionRule, DecisionRule.id == Result.rule_id)
        .outerjoin(Specification, Specification.id == Result.specification_id)
        .where(Result.certificate_id == certificate)
        .order_by(Result.position)
    )
    shown = []
    for row in rows:
        values = {name: getattr(row.Result, name) for name in RESULT}
        values |= {
            "rule": row.code,
            "rule_version": row.rule_version,
            "specification_version": row.spec_version,
        }
        shown.append({name: value for name, value in values.items() if value is not None})
    return shown
