"""The corrected revision of a recalled certificate, as a draft: what it said, less what was wrong.

Errors become the corrected ones of the recall and U the one after it, unrounded, so that the
verdicts decided again by the same rule, version and limits follow from what stands there; uses are
kept. The observations stand in the revision before. Here the indication is referred to the force
that is stated: it moves with the error, so that error, indication and force agree. An amendment
says what it amends and why (ISO/IEC 17025:2017, 7.8.8, from memory).

The draft records what was taken (`fault_corrections`, `api.services.certificates.taken`); what was
taken from the revision before is kept before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, localcontext
from typing import Any, NamedTuple

from sqlalchemy import exists, insert, inspect, select
from sqlalchemy.orm import Session, aliased

from api.errors import Conflict, Issue, NotFound
from api.services.base.record import Record, digest
from api.services.base.recording import NewCertificates, Outcome, begin
from api.services.casework.outstanding import REISSUE
from api.services.casework.told import latest_dispositions
from api.services.certificates import calibrations
from api.services.certificates.results import is_relative
from api.services.certificates.taken import Alone, each_alone, taken
from api.services.grounds.figures import off
from api.services.recalls.entries import is_given_back
from api.services.recalls.lists import entry_of
from api.services.records.revisions import revisions
from api.store.casework import Disposition
from api.store.journal import note as journal_note
from api.store.tables import Certificate, Recall, RecallEntry, Result, Usage
from graph.lists import AFFECTED
from graph.moments import text_of

Later = aliased(Certificate)
# What a draft does not take over: its own key, and what happened to the revision before.
OWN = {"id", "version", "recorded_us", "content_hash", "serves_from_us", "serves_until_us"}
OWN |= {"issued_at", "issued_us", "superseded_by", "void_reason", "voided_at", "voided_us"}
# Somebody must authorise what it says now.
OWN |= {"authorised_by"}
_DIGITS = 60


class _Subject(NamedTuple):
    """A certificate to be revised, its entry in the recall, and its revisions, the last first."""

    certificate: Certificate
    entry: Record
    recorded: Sequence[Certificate]


def draft(
    session: Session, recall_id: int, names: Sequence[Record], request: Record, now_us: int
) -> list[Certificate]:
    """Record the next revision of each certificate named, as a draft; all of them or none.

    Raises
    ------
    NotFound
        If the recall does not list one of them.
    Conflict
        If one of them cannot be corrected: it is not affected, is not issued, is another
        laboratory's, has a later revision already, or the effect at a point is not known.
    """
    recording = begin(session, now_us)
    recall = session.get_one(Recall, recall_id)
    subjects = [_subject(session, recall, name) for name in names]
    issues = [issue for one in subjects for issue in _against(one)]
    if issues:
        raise Conflict(f"{len(issues)} thing(s) stand against it; nothing stored", issues)
    if not subjects:
        return []
    alone = each_alone(session, recall, {one.certificate.id for one in subjects}, now_us)
    keys = [_insert(session, recall, one, alone, request, now_us) for one in subjects]
    first = subjects[0].certificate.number
    recording.certificates = NewCertificates(min(keys), f'certificate "{first}"')
    calibrations.finish(recording, Outcome(len(keys), 0))
    return [session.get_one(Certificate, key) for key in keys]


def to_reissue(session: Session, recall_id: int) -> list[Record]:
    """Name the affected certificates that are to be reissued and have no later revision yet."""
    later = exists().where(
        Later.number == Certificate.number,
        Later.issuer == Certificate.issuer,
        Later.revision > Certificate.revision,
        Later.status != "voided",
    )
    rows = session.execute(
        select(Certificate.number, Certificate.revision, Certificate.issuer)
        .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
        .join(Disposition, Disposition.certificate_id == Certificate.id)
        .where(
            RecallEntry.recall_id == recall_id,
            RecallEntry.list_name == AFFECTED,
            Disposition.id.in_(latest_dispositions(recall_id)),
            Disposition.action == REISSUE,
            Certificate.status == "issued",
            ~later,
        )
        .order_by(RecallEntry.position)
    )
    return [
        {"certificate": row.number, "revision": row.revision, "issuer": row.issuer} for row in rows
    ]


def _subject(session: Session, recall: Recall, name: Record) -> _Subject:
    number = name["certificate"]
    found = entry_of(session, recall.id, number, name.get("issuer"), name.get("revision"))
    if found is None:
        issue = Issue("", "the recall does not list it", "name one of its lists", number)
        raise NotFound(f"recall {recall.id} does not list certificate {number}", [issue])
    key, entry = found
    certificate = session.get_one(Certificate, key)
    recorded = revisions(session, certificate.number, certificate.issuer)
    return _Subject(certificate, entry, recorded)


def _against(one: _Subject) -> list[Issue]:
    """Everything that stands against a corrected revision of one certificate."""
    certificate, entry, recorded = one
    name = f"{certificate.number} rev. {certificate.revision}"
    found: list[Issue] = []
    if entry["class"] != AFFECTED:
        what = f"it is listed as {entry['class']}, with nothing to correct"
        found.append(Issue("", what, "calibrate it again, or report the fault with its size", name))
    elif not all(isinstance(point["corrected_error"], str) for point in entry["points"]):
        what = "at some point one corrected error is not known"
        found.append(Issue("", what, "calibrate it again, or report the fault with its size", name))
    if certificate.external:
        found.append(Issue("", "another laboratory issued it", "ask that laboratory", name))
    if certificate.status != "issued":
        what = f"it is {certificate.status}"
        found.append(Issue("", what, "name the revision that is issued", name))
    last = max((row.revision for row in recorded if row.status != "voided"), default=0)
    if last > certificate.revision:
        what = f"revision {last} is recorded already"
        found.append(Issue("", what, "issue it, or void it and record another", name))
    return found


def _insert(
    session: Session,
    recall: Recall,
    one: _Subject,
    alone: Sequence[Alone],
    request: Record,
    now_us: int,
) -> int:
    certificate, entry, recorded = one
    removed = taken(session, recall, certificate.id, entry, alone)
    removed |= {"by": request["by"], "at": text_of(now_us)}
    values = _copied(certificate, OWN) | {
        "revision": recorded[0].revision + 1,
        "status": "draft",
        "amendment": request.get("amendment") or _amendment(recall, one),
        "fault_corrections": [*(certificate.fault_corrections or ()), removed],
        "budget": None if any("U_after" in one for one in entry["points"]) else certificate.budget,
        "never_issued": False,
        "recorded_us": now_us,
        "version": 1,
    }
    results = _corrected(session, one)
    uses = session.scalars(
        select(Usage).where(Usage.certificate_id == certificate.id).order_by(Usage.position)
    ).all()
    values["content_hash"] = digest(
        {"corrects": certificate.content_hash, "taken": values["fault_corrections"]}
    )
    key = session.scalars(insert(Certificate).returning(Certificate.id), [values]).one()
    if uses:
        copies = [_copied(use, {"id"}) | {"certificate_id": key} for use in uses]
        session.execute(insert(Usage), copies)
    if results:
        session.execute(insert(Result), [row | {"certificate_id": key} for row in results])
    journal_note(
        session,
        "corrected revision",
        by=request["by"],
        recall=recall.id,
        certificate=certificate.number,
        revision=values["revision"],
        issuer=certificate.issuer,
    )
    return key


def _copied(row: Any, without: set[str]) -> Record:
    names = [one.key for one in inspect(type(row)).column_attrs]
    return {name: getattr(row, name) for name in names if name not in without}


def _amendment(recall: Recall, one: _Subject) -> str:
    certificate, entry, _ = one
    what = "Errors, indications"
    if any("U_after" in point for point in entry["points"]):
        what += ", uncertainties"
    issued = f", issued {certificate.issued_at}" if certificate.issued_at else ""
    why = f"A fault was found in what its calibration rested on (recall {recall.number})"
    done = "are corrected for it"
    if is_given_back(entry):
        why = f"A correction made before was found to be wrong (recall {recall.number})"
        done = "are corrected for that"
    kept = "" if certificate.curve is None else " The curve is the one assigned before."
    return (
        f"This revision takes the place of revision {certificate.revision}{issued}. {why}. {what} "
        f"and statements of conformity {done}; indications are referred to the forces stated."
        f"{kept}"
    )


def _corrected(session: Session, one: _Subject) -> list[Record]:
    rows = session.scalars(
        select(Result).where(Result.certificate_id == one.certificate.id).order_by(Result.position)
    ).all()
    return [_result(row, point) for row, point in zip(rows, one.entry["points"], strict=True)]


def _result(row: Result, point: Record) -> Record:
    values = _copied(row, {"id", "certificate_id"})
    corrected, relative = Decimal(point["corrected_error"]), is_relative(values)
    with localcontext(prec=_DIGITS):
        if relative:
            values["error_rel_pct"] = corrected
            if row.indicated is not None and row.applied is not None:
                values["indicated"] = row.applied * (1 + corrected / 100)
        else:
            values["indicated"] = _indicated(row, corrected, Decimal(point["shift"]))
            # The error in percent beside it would say otherwise.
            values |= {"error": corrected, "error_rel_pct": None}
    if "U_after" in point:
        U = Decimal(point["U_after"])
        values |= {"U": None, "U_rel_pct": U} if relative else {"U": U, "U_rel_pct": None}
        values["budget_id"] = None  # which gave the U before
    values["taken"] = _still_taken(row, values)
    values["verdict_reported"] = point["verdict_after"]
    return values


def _still_taken(row: Result, values: Record) -> Record | None:
    """Return which numbers are as the runs and the budget give them; None where none is."""
    found = {
        source: [name for name in names if values[name] == getattr(row, name)]
        for source, names in (row.taken or {}).items()
        if source != "budget" or values["budget_id"] is not None
    }
    return {source: names for source, names in found.items() if names} or None


def _indicated(row: Result, corrected: Decimal, shift: Decimal) -> Decimal | None:
    """Return the indication referred to the force stated, so that the corrected error is exact.

    Where the recorded figures contradicted each other they still do.
    """
    if row.indicated is None:
        return None
    contradicts = off(row.error, row.applied, row.indicated) is not None
    if row.applied is None or contradicts:
        return row.indicated + shift
    return row.applied + corrected
