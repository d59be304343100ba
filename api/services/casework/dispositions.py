"""What is done about each certificate of a recall, by whom and when; nothing is ever overwritten.

A later disposition of the same certificate takes the place of the earlier one, which stays
readable. Many certificates are disposed of at once by naming them, or a list of the recall.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Row, Select, insert, select
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue, UnknownReference, pointer
from api.services.base.confirmed import refuse_other_count
from api.services.base.record import Record
from api.services.casework.entry_filters import passing
from api.services.casework.no_action import refuse_unexplained
from api.services.casework.told import latest_dispositions
from api.services.feed import changes
from api.services.feed.changes import LISTED
from api.store.casework import Disposition, RecallCase
from api.store.chunks import chunks
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.tables import Certificate, RecallEntry
from graph.moments import text_of

ACTIONS = ("withdraw", "reissue", "recalibrate_free", "no_action")


def record(session: Session, case: RecallCase, command: Record, now_us: int) -> int:
    """Record one disposition for each certificate meant; return how many.

    Raises
    ------
    UnknownReference
        If a certificate named stands in none of the lists affected, indeterminate,
        exposed_zero_effect and cannot_be_excluded.
    InvalidRecord
        If nothing is to be done about a certificate that fails, and no reason is given that its
        customer is told.
    Conflict
        If the case is closed, or if another `count` of certificates is meant than was said.
    """
    if case.state == "closed":
        raise Conflict("the case is closed; report the fault again to take a second look")
    if "certificates" in command:
        meant: Sequence[Row[*tuple[Any, ...]]] = entries_named(
            session, case.recall_id, command["certificates"]
        )
    else:
        meant = session.execute(_of_list(case.recall_id, command)).all()
    refuse_other_count(len(meant), command.get("count", len(meant)), "certificate")
    refuse_unexplained(session, case.recall_id, meant, command)
    common = {
        "recall_id": case.recall_id,
        "action": command["action"],
        "justification": command.get("justification"),
        "reason_for_customer": command.get("reason_for_customer"),
        "person": command["by"],
        "at_us": now_us,
    }
    for some in chunks(meant):
        rows = [
            common | {"certificate_id": row.certificate_id, "list_name": row.list_name}
            for row in some
        ]
        session.execute(insert(Disposition), rows)
        keys = [row.certificate_id for row in some]
        changes.note_dispositions(session, case.recall_id, keys, command["action"], now_us)
    if meant:
        journal_note(
            session,
            "dispositions",
            by=command["by"],
            recall=case.recall_id,
            action=command["action"],
            certificates=len(meant),
        )
        case.version += 1
        session.flush()
    return len(meant)


def _of_list(recall_id: int, command: Record) -> Select[*tuple[Any, ...]]:
    columns = select(RecallEntry.certificate_id, RecallEntry.list_name)
    statement = passing(columns, recall_id, command["list"], command)
    if command["undecided"]:
        decided = select(Disposition.certificate_id).where(Disposition.recall_id == recall_id)
        statement = statement.where(RecallEntry.certificate_id.not_in(decided))
    return statement.order_by(RecallEntry.position)


def entries_named(
    session: Session, recall_id: int, names: Sequence[Record]
) -> list[Row[*tuple[Any, ...]]]:
    """Entries of the certificates named, each once; all faults are raised together."""
    listed: dict[str, list[Row[*tuple[Any, ...]]]] = {}
    for some in chunks(sorted({one["certificate"] for one in names})):
        for row in session.execute(_listed(recall_id).where(Certificate.number.in_(some))):
            listed.setdefault(row.number, []).append(row)
    issues: list[Issue] = []
    meant: dict[int, Row[*tuple[Any, ...]]] = {}
    for place, name in enumerate(names):
        found = [row for row in listed.get(name["certificate"], ()) if _is(row, name)]
        if len(found) == 1:
            meant[found[0].certificate_id] = found[0]
            continue
        detail, remedy = "several certificates of this recall", "name revision and issuer too"
        if not found:
            detail = "this recall lists it nowhere that could ask for a disposition"
            remedy = f"GET /v1/recalls/{recall_id} has its lists"
        issues.append(Issue(pointer("certificates", place), detail, remedy, name["certificate"]))
    if issues:
        raise UnknownReference(f"{len(issues)} certificate(s) not found; nothing stored", issues)
    return list(meant.values())


def _listed(recall_id: int) -> Select[*tuple[Any, ...]]:
    return (
        select(
            RecallEntry.certificate_id,
            RecallEntry.list_name,
            Certificate.number,
            Certificate.revision,
            Certificate.issuer,
        )
        .join(Certificate, Certificate.id == RecallEntry.certificate_id)
        .where(RecallEntry.recall_id == recall_id, RecallEntry.list_name.in_(LISTED))
    )


def _is(row: Row[*tuple[Any, ...]], name: Record) -> bool:
    return all(getattr(row, part) == name[part] for part in ("revision", "issuer") if part in name)


def find(
    session: Session,
    recall_id: int,
    filters: Record,
    after: Sequence[Any] | None,
    limit: int,
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of dispositions in the order they were made: the latest ones, or all."""
    statement = (
        select(Disposition, Certificate.number, Certificate.revision, Certificate.issuer)
        .join(Certificate, Certificate.id == Disposition.certificate_id)
        .where(Disposition.recall_id == recall_id)
    )
    if not filters["history"]:
        statement = statement.where(Disposition.id.in_(latest_dispositions(recall_id)))
    if "certificate" in filters:
        statement = statement.where(Certificate.number == filters["certificate"])
    if "action" in filters:
        statement = statement.where(Disposition.action == filters["action"])
    rows, key = page(session, statement, [Disposition.id], after, limit)
    return [_shown(row) for row in rows], key


def _shown(row: Row[*tuple[Any, ...]]) -> Record:
    made: Disposition = row.Disposition
    shown = {
        "certificate": row.number,
        "revision": row.revision,
        "issuer": row.issuer or None,
        "class": made.list_name,
        **said(made),
    }
    return {name: value for name, value in shown.items() if value is not None}


def said(made: Disposition) -> Record:
    """Return one disposition without its certificate."""
    shown = {
        "action": made.action,
        "justification": made.justification,
        "reason_for_customer": made.reason_for_customer,
        "by": made.person,
        "at": text_of(made.at_us),
    }
    return {name: value for name, value in shown.items() if value is not None}


def current(
    session: Session, recall_id: int, certificates: Iterable[int]
) -> dict[int, Disposition]:
    """Return the disposition that counts for each of these certificates, by key."""
    return {key: made[-1] for key, made in histories(session, recall_id, certificates).items()}


def histories(
    session: Session, recall_id: int, certificates: Iterable[int]
) -> dict[int, list[Disposition]]:
    """Return the dispositions of each of these certificates by key, the one that counts last."""
    found: dict[int, list[Disposition]] = {}
    for some in chunks(sorted(set(certificates))):
        statement = select(Disposition).where(
            Disposition.recall_id == recall_id, Disposition.certificate_id.in_(some)
        )
        for made in session.scalars(statement.order_by(Disposition.id)):
            found.setdefault(made.certificate_id, []).append(made)
    return found
