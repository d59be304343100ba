"""What stands against the next step of a case? Customers not told, a stale list, open entries.

A case becomes notified only if every customer concerned was sent a notice, or it stands with a name
why not, and if of no certificate it is unknown who is to be told (ISO/IEC 17025:2017, 7.10.1 e,
from memory). It is closed only if that still holds, if its recall is not stale, or another look at
the fault has taken its place, and if every certificate that is wrong or in doubt has a disposition.
What is exposed without effect may have one.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue
from api.services.base.record import Record
from api.services.casework.told import MOST_NAMED, unclaimed, untold
from api.store.casework import Disposition
from api.store.tables import Certificate, RecallEntry
from graph.lists import AFFECTED, INDETERMINATE, NOT_EXCLUDED

# Certificates that must have a disposition before the case can be closed.
TO_DECIDE = (AFFECTED, INDETERMINATE, NOT_EXCLUDED)
CHECKING = "checking"


def undecided(recall_id: int) -> Select[*tuple[Any, ...]]:
    """Certificates of a recall that need a disposition and have none."""
    decided = select(Disposition.id).where(
        Disposition.recall_id == recall_id,
        Disposition.certificate_id == RecallEntry.certificate_id,
    )
    return (
        select(Certificate.number, Certificate.revision, RecallEntry.list_name)
        .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
        .where(
            RecallEntry.recall_id == recall_id,
            RecallEntry.list_name.in_(TO_DECIDE),
            ~decided.exists(),
        )
    )


def refuse_open_ends(session: Session, recall_id: int, state: str, standing: Record) -> None:
    """Refuse the step to a state that something stands against, all of it at once.

    `standing` says whether the recall is `stale`, and which look has taken its place
    (`looked_at_again`).

    Raises
    ------
    Conflict
        Naming customers and certificates.
    """
    said: list[str] = []
    issues: list[Issue] = []
    if state in ("notified", "closed"):
        _untold(session, recall_id, said, issues)
        _unclaimed(session, recall_id, said, issues)
    if state == "closed":
        _stale(recall_id, standing, said, issues)
        _undecided(session, recall_id, said, issues)
    if said:
        raise Conflict("; ".join(said), issues)


def _untold(session: Session, recall_id: int, said: list[str], issues: list[Issue]) -> None:
    statement = untold(recall_id)
    missing = count(session, statement)
    if not missing:
        return
    said.append(f"{missing} customer(s) concerned were not told")
    remedy = (
        f"POST /v1/recalls/{recall_id}/notices and record its delivery, or "
        f"POST /v1/recalls/{recall_id}/notice-exceptions with the reason"
    )
    for row in session.execute(statement.order_by("name").limit(MOST_NAMED)):
        issues.append(Issue("", "no notice was sent to this customer", remedy, row.name))


def _unclaimed(session: Session, recall_id: int, said: list[str], issues: list[Issue]) -> None:
    statement = unclaimed(recall_id)
    missing = count(session, statement)
    if not missing:
        return
    said.append(f"of {missing} certificate(s) nobody knows who is to be told")
    remedy = (
        "record the owner of the item as a customer, or POST "
        f"/v1/recalls/{recall_id}/notice-exceptions with `certificates` and the reason"
    )
    for row in session.execute(statement.order_by("number", "revision").limit(MOST_NAMED)):
        detail = "it names no customer, and its item no owner that is a customer"
        issues.append(Issue("", detail, remedy, f"{row.number} rev. {row.revision}"))


def _stale(recall_id: int, standing: Record, said: list[str], issues: list[Issue]) -> None:
    if not standing["stale"] or standing["looked_at_again"]:
        return
    if standing["stale"] == CHECKING:
        said.append("the recall is being compared with later records")
        remedy = f"GET /v1/recalls/{recall_id}?exact=true compares it at once; then repeat"
    else:
        said.append("the recall is stale: records made later would change it")
        remedy = f'report the fault again with "previous": {recall_id}'
    issues.append(Issue("", said[-1], remedy, str(standing["stale"]).lower()))


def _undecided(session: Session, recall_id: int, said: list[str], issues: list[Issue]) -> None:
    missing = count(session, undecided(recall_id))
    if not missing:
        return
    said.append(f"{missing} certificate(s) lack a disposition")
    remedy = f"POST /v1/recalls/{recall_id}/dispositions"
    order = (RecallEntry.list_name, RecallEntry.position)
    for row in session.execute(undecided(recall_id).order_by(*order).limit(MOST_NAMED)):
        detail = f"no disposition yet, and it is listed as {row.list_name}"
        issues.append(Issue("", detail, remedy, f"{row.number} rev. {row.revision}"))


def count(session: Session, statement: Select[Any]) -> int:
    """Count the rows of a statement."""
    return session.scalar(select(func.count()).select_from(statement.subquery())) or 0
