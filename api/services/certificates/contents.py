"""What stands in one certificate: uses, decided results, corrections, recalls that list it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.certificates import agreed, results, statements
from api.services.certificates.use_corrections import corrections as use_corrections
from api.services.decisions.answers import branch_answer
from api.services.recalls.recall_states import reviewed_by
from api.services.records import record_corrections
from api.services.records.measured_in import measured_in
from api.services.records.record_corrections import CALIBRATIONS
from api.services.uncertainty.cmcs import Scope, below_cmc, scope
from api.store import records
from api.store.grounds import CertificateGrounds
from api.store.reading import SessionReader
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
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED

RESULT = (*results.COLUMNS, "tolerance", "tolerance_rel_pct")
USE = ("role", "weight", "channel", "points", "performed_at", "factor_applied", "override", "note")


def parts(session: Session, certificate: Certificate) -> Record:
    """Return what a certificate says beside its heading."""
    of_uses = use_corrections(session, certificate.id)
    of_it = record_corrections.of(session, CALIBRATIONS, [certificate.id])
    both = [*of_uses, *of_it.get(certificate.id, [])]
    found = statements.rows(session, certificate.id)
    stated = statements.statement(found, agreed.in_words(session, certificate))
    sources = measured_in(session, [certificate.id]).get(certificate.id)
    asked = session.get(CertificateGrounds, certificate.id)
    override = None if asked is None else asked.override
    said = {"statement": stated, "override": override, "measured_in": sources}
    return {name: value for name, value in said.items() if value is not None} | {
        "overall": statements.overall(found),
        "recalls": _recalls(session, certificate.id),
        "reviewed_by": reviewed_by(session, certificate.id),
        "uses": _uses(session, certificate.id),
        "use_corrections": of_uses,
        "corrections": sorted(both, key=lambda one: datetime.fromisoformat(one["at"])),
        "results": _results(session, certificate, found),
    }


def _recalls(session: Session, certificate: int) -> list[Record]:
    """Recalls that list the certificate, newest first."""
    rows = session.execute(
        select(Recall.id, Recall.number, RecallEntry.list_name, RecallEntry.verdict_changes)
        .join(Recall, Recall.id == RecallEntry.recall_id)
        .where(
            RecallEntry.certificate_id == certificate,
            RecallEntry.list_name.in_((AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED)),
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
    for place, row in enumerate(rows):
        values = {"item": row.code} | {name: getattr(row.Usage, name) for name in USE}
        if row.Usage.position != place:
            values["position"] = row.Usage.position
        if row.Usage.named_certificate is not None:
            values["certificate"] = row.Usage.named_certificate
            values["revision"] = row.Usage.named_revision
        source = found.get(row.Usage.source_id)
        if source is not None:
            values["in_force"] = {"certificate": source.number, "revision": source.revision}
        if row.Usage.setup_check_id is not None:
            values["taken_from"] = {"set_up_check": row.Usage.setup_check_id}
        values |= row.Usage.remarks or {}
        shown.append({name: value for name, value in values.items() if value is not None})
    return shown


def _results(
    session: Session, certificate: Certificate, stated: Sequence[statements.Row]
) -> list[Record]:
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
    for row, said in zip(rows, stated, strict=True):
        values = {name: getattr(row.Result, name) for name in RESULT}
        values |= {
            "verdict": said.decided,
            "branch": None if said.branch is None else branch_answer(said.branch),
            "rule": row.code,
            "rule_version": row.rule_version,
            "specification_version": row.spec_version,
            "set_up_check": row.Result.setup_check_id,
            "run_evaluation": row.Result.run_evaluation_id,
            "budget": row.budget,
            "taken": row.Result.taken,
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
