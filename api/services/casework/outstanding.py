"""What was decided about certificates and is still to be done: a draft, its issue, a void.

A case may be closed while it is: the decision is what the step asks for. So case, pages and files
say plainly which of them remain. Reissue is done once a later revision is issued, withdraw once the
certificate is voided; a revision that was superseded or voided meanwhile needs neither.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import ColumnElement, Select, case, exists, func, select
from sqlalchemy.orm import Session, aliased

from api.services.base.record import Record
from api.services.casework.told import MOST_NAMED, latest_dispositions
from api.store.casework import Disposition
from api.store.tables import Certificate

REISSUE, WITHDRAW = "reissue", "withdraw"
# What is lacking.
DRAFT, ISSUE, VOID = "draft", "issue", "void"
Later = aliased(Certificate)


def outstanding(session: Session, recall_id: int) -> Record:
    """Return for `reissue` and `withdraw` how many remain, and which: the first hundred, and what.

    `lacks` is `draft` (no later revision is recorded), `issue` (one is, as a draft) or `void`.
    """
    counts = {
        row.action: row.many
        for row in session.execute(
            _remaining(recall_id, Disposition.action, func.count().label("many")).group_by(
                Disposition.action
            )
        )
    }
    found: Record = {}
    for action in (REISSUE, WITHDRAW):
        columns = (Certificate.number, Certificate.revision, Certificate.issuer)
        named = _remaining(recall_id, *columns, _lacks().label("lacks"))
        named = named.where(Disposition.action == action).order_by(*columns[:2], Certificate.id)
        found[action] = {
            "remaining": counts.get(action, 0),
            "named": [
                {"certificate": row.number, "revision": row.revision, "lacks": row.lacks}
                | ({"issuer": row.issuer} if row.issuer else {})
                for row in session.execute(named.limit(MOST_NAMED))
            ],
        }
    return found


def lacking(session: Session, recall_id: int, certificates: Collection[int]) -> dict[int, str]:
    """Return what each of these certificates (some hundred) still lacks, by key, where it does."""
    rows = session.execute(
        _remaining(recall_id, Certificate.id, _lacks().label("lacks")).where(
            Certificate.id.in_(certificates)
        )
    )
    return {row.id: row.lacks for row in rows}


def _remaining(recall_id: int, *columns: Any) -> Select[*tuple[Any, ...]]:
    return (
        select(*columns)
        .select_from(Disposition)
        .join(Certificate, Certificate.id == Disposition.certificate_id)
        .where(
            Disposition.id.in_(latest_dispositions(recall_id)),
            Disposition.action.in_((REISSUE, WITHDRAW)),
            Certificate.status == "issued",
        )
    )


def _lacks() -> ColumnElement[str]:
    later = exists().where(
        Later.number == Certificate.number,
        Later.issuer == Certificate.issuer,
        Later.revision > Certificate.revision,
        Later.status == "draft",
    )
    return case((Disposition.action == WITHDRAW, VOID), (later, ISSUE), else_=DRAFT)
