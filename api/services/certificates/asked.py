"""Does a certificate say what its laboratory asks for? Looked at before it is issued.

The laboratory itself names the fields: what a report holds by ISO/IEC 17025:2017, 7.8.2 and 7.8.4
(from memory), and what it was measured in. Who authorises a certificate is a recorded person where
persons are recorded at all. Imports of history are not asked, nor are certificates of others.

Not checked: that what is said is so.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from api.errors import Conflict, InvalidRecord, Issue
from api.services.access import persons
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.store.evaluations import RunEvaluation
from api.store.fitting import SetupCheck
from api.store.tables import Certificate, Laboratory, Result
from graph.moments import moment

# What may be said as late as at the issue of a draft.
SAID_AT_ISSUE = ("place", "conditions", "received_at", "order", "performed_by", "authorised_by")
REMEDIES = {
    "place": "say where it was calibrated",
    "conditions": "say in which conditions, such as the temperature, it was calibrated",
    "received_at": "say when the item was received",
    "order": "name the customer's order",
    "performed_by": "say who calibrated it",
    "authorised_by": "name the person who authorises the certificate",
    "customer": "name the customer",
    "method": "name the method",
    "mode": "say tension or compression",
    "set_up_check": "name the check of its set-up (POST /v1/setup-checks)",
    "run_evaluation": "name the evaluation of its runs (POST /v1/run-evaluations)",
    "budget": "name its uncertainty budget (POST /v1/uncertainty-budgets)",
}
# The sources of results: how the certificate names them, and how each result does.
_SOURCES: dict[str, tuple[str, InstrumentedAttribute[int | None]]] = {
    "set_up_check": ("setup_check_id", Result.setup_check_id),
    "run_evaluation": ("run_evaluation", Result.run_evaluation_id),
    "budget": ("budget", Result.budget_id),
}


def refuse_unsaid(session: Session, certificate: Certificate) -> None:
    """Refuse a certificate that is not of history for what it should say and does not.

    Raises UnknownReference for a person who is not recorded or not active, InvalidRecord for a
    receipt after the calibration and, if it is issued, for each field that is asked for and
    missing, and for runs and set-ups after the issue.
    """
    if certificate.external:
        return
    code = certificate.authorised_by
    if code is not None and not persons.none_kept(session):
        persons.active(session, code, "/authorised_by")
    issues = list(_received_late(session, certificate))
    if certificate.status == "issued":
        issues += [*_missing(session, certificate), *_measured_late(session, certificate)]
    if issues:
        raise InvalidRecord(f"{len(issues)} fault(s) in what it says; nothing stored", issues)


def say(certificate: Certificate, said: Record) -> None:
    """Give a draft what it did not say yet; raise Conflict for what it says otherwise."""
    issues = []
    for name in SAID_AT_ISSUE:
        sent, known = said.get(name), getattr(certificate, name)
        if sent is None or sent == known:
            continue
        if known is not None:
            remedy = "leave it out, or void the draft and record another"
            issues.append(Issue(f"/{name}", f'the draft says "{known}"', remedy, sent))
        setattr(certificate, name, sent)
    if issues:
        raise Conflict(f"the draft says {len(issues)} thing(s) otherwise; nothing stored", issues)


def _received_late(session: Session, certificate: Certificate) -> Iterator[Issue]:
    at = certificate.received_at
    if at is not None and moment(at, zone_of(session)).start_us > certificate.performed_end_us:
        remedy = f"it was calibrated {certificate.performed_at}; check both dates"
        yield Issue("/received_at", "received after the calibration", remedy, at)


def _missing(session: Session, certificate: Certificate) -> Iterator[Issue]:
    for name in session.scalar(select(Laboratory.asked_at_issue)) or ():
        if not _says(session, certificate, name):
            detail = f"{name} is missing; this laboratory asks for it at issue"
            yield Issue(f"/{name}", detail, REMEDIES[name])


def _says(session: Session, certificate: Certificate, name: str) -> bool:
    if name not in _SOURCES:
        column = "customer_id" if name == "customer" else name
        return getattr(certificate, column) is not None
    of_all, of_each = _SOURCES[name]
    if getattr(certificate, of_all) is not None:
        return True
    own = select(Result.id).where(Result.certificate_id == certificate.id).limit(1)
    without = session.scalar(own.where(of_each.is_(None)))
    return without is None and session.scalar(own) is not None


def _measured_late(session: Session, certificate: Certificate) -> Iterator[Issue]:
    """Yield what was measured after the issue, though a draft may name it."""
    if certificate.issued_at is None:
        return
    zone = zone_of(session)
    issued = moment(certificate.issued_at, zone).end_us
    own = Result.certificate_id == certificate.id
    of_results = select(Result.run_evaluation_id).where(own)
    runs = session.scalars(select(RunEvaluation).where(RunEvaluation.id.in_(of_results)))
    of_results = select(Result.setup_check_id).where(own)
    named = or_(SetupCheck.id == certificate.setup_check_id, SetupCheck.id.in_(of_results))
    checks = session.scalars(select(SetupCheck).where(named))
    said = [(f"run evaluation {one.id}", one.request.get("performed_at")) for one in runs]
    said += [(f"set-up check {one.id}", one.answer["at"]) for one in checks]
    for name, at in said:
        if at is not None and moment(at, zone).start_us > issued:
            remedy = "issue it later, or name what was done before the issue"
            yield Issue("/issued_at", f"{name} is of {at}, after it", remedy, certificate.issued_at)
