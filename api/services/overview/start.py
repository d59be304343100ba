"""What is open, and where is it? The start of a working day, and one search over the records.

Overdue are the laboratory's own items whose latest issued certificate was due before now; the
instruments of customers are theirs to send. Set-up checks that found a difference are the latest
ones; nothing says of them that they were mended. Not considered: items out of service, which no
record tells.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Row, Select, and_, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from api.services.alerts import alerts
from api.services.alerts.states import OPEN
from api.services.base.record import Record
from api.services.casework.cases import STATES
from api.services.certificates.certificates import heads
from api.services.life import cycles
from api.services.recalls import recalls, staleness
from api.services.records.customers import answer as customer_answer
from api.services.records.customers import customer_key
from api.services.records.items import CUSTOMERS_OWN
from api.services.records.items import answer as item_answer
from api.services.setups import setup_checks
from api.services.setups.findings import DIFFERS
from api.store.casework import RecallCase
from api.store.tables import Certificate, Customer, Item, Recall

Statement = TypeVar("Statement", bound=Select[*tuple[Any, ...]])
Later = aliased(Certificate)
# Of each list; the counts beside it are complete.
SHOWN = 12
NEAR_LIFE = Decimal("0.9")


def open_work(session: Session, now_us: int) -> Record:
    """Return what waits to be done: alerts, recalls by state, overdue items, parts, set-ups."""
    late = _overdue(now_us)
    life, more_parts = cycles.near_life(
        session, {"share_from": NEAR_LIFE, "rate_days": cycles.DAYS}, now_us, None, SHOWN
    )
    checks, more_checks = setup_checks.find(session, {"outcome": DIFFERS}, None, SHOWN)
    return {
        "cases": _cases(session),
        "recalls": open_recalls(session),
        "alerts": alerts.most_pressing(session, SHOWN),
        "alerts_count": alerts.count(session, {"state": OPEN}),
        **_reopen(session),
        "overdue": [_late(row) for row in session.execute(late.limit(SHOWN))],
        "overdue_count": session.scalar(select(func.count()).select_from(late.subquery())) or 0,
        "near_life": life,
        "more_parts": more_parts is not None,
        "setup_checks": checks,
        "more_setup_checks": more_checks is not None,
    }


def open_recalls(session: Session) -> list[Record]:
    """Return recalls whose case is not closed, newest first, each with its state and summary."""
    rows = session.execute(
        select(Recall, RecallCase.state)
        .join(RecallCase, RecallCase.recall_id == Recall.id)
        .where(RecallCase.state != STATES[-1])
        .order_by(Recall.id.desc())
        .limit(SHOWN)
    )
    found = [recalls.head_answer(row.Recall) | {"state": row.state} for row in rows]
    stale = staleness.flags(session, [one["id"] for one in found])
    return [one | {"stale": stale[one["id"]]} for one in found]


def looked_at_before(session: Session) -> list[Record]:
    """Return the recalls that wait for work or for a second look, newest first."""
    found = {one["id"]: one for one in (*open_recalls(session), *_reopen(session)["reopen"])}
    return [found[key] for key in sorted(found, reverse=True)]


def _reopen(session: Session) -> Record:
    """Return closed cases that today's records contradict, newest first."""
    keys = staleness.reopened(session)
    rows = session.scalars(
        select(Recall).where(Recall.id.in_(keys[:SHOWN])).order_by(Recall.id.desc())
    )
    return {"reopen": [recalls.head_answer(one) for one in rows], "reopen_count": len(keys)}


def search(session: Session, text: str, owner: str | None) -> Record:
    """Return certificates, items, customers and recalls whose number, id or name holds a text.

    With an owner only that customer's certificates. Those that begin with the text come first.
    """
    found: Record = {name: [] for name in ("certificates", "items", "customers", "recalls")}
    found["more"] = False
    text = text.strip()
    if not text:
        return found
    statement = holding(select(Certificate), Certificate.number, text)
    if owner is not None:
        statement = statement.where(Certificate.customer_id == customer_key(owner))
    numbers = list(session.scalars(statement.limit(SHOWN + 1)))
    found["certificates"] = heads(session, numbers[:SHOWN])
    found["more"] = len(numbers) > SHOWN
    if owner is None:
        found["items"] = find_items(session, text)
        names = holding(select(Customer), Customer.name, text).limit(SHOWN)
        found["customers"] = [customer_answer(one) for one in session.scalars(names)]
        numbered = session.scalars(holding(select(Recall), Recall.number, text).limit(SHOWN))
        found["recalls"] = [{"id": one.id, "number": one.number} for one in numbered]
    return found


def find_items(session: Session, text: str) -> list[Record]:
    """Return items whose id holds a text, those that begin with it first."""
    statement = holding(select(Item), Item.code, text.strip()).limit(SHOWN)
    return [item_answer(one) for one in session.scalars(statement)]


def holding(statement: Statement, column: Any, text: str) -> Statement:
    """Return the statement for rows whose column holds a text, those that begin with it first."""
    begins = column.istartswith(text, autoescape=True)
    return statement.where(column.icontains(text, autoescape=True)).order_by(begins.desc(), column)


def _cases(session: Session) -> Mapping[str, int]:
    rows = session.execute(
        select(RecallCase.state, func.count().label("many")).group_by(RecallCase.state)
    )
    counts = {row.state: row.many for row in rows}
    return {state: counts.get(state, 0) for state in STATES}


def _overdue(now_us: int) -> Select[*tuple[Any, ...]]:
    issued_later = and_(
        Later.item_id == Certificate.item_id,
        Later.status == "issued",
        _after(Certificate),
    )
    return (
        select(Item.code, Item.kind, Certificate.number, Certificate.revision, Certificate.due_at)
        .join(Certificate, Certificate.item_id == Item.id)
        .where(
            Item.kind != CUSTOMERS_OWN,
            Certificate.status == "issued",
            Certificate.due_us < now_us,
            ~exists().where(issued_later),
        )
        .order_by(Certificate.due_us, Item.code)
    )


def _after(one: type[Certificate]) -> ColumnElement[bool]:
    same_time = and_(Later.performed_us == one.performed_us, Later.id > one.id)
    return or_(Later.performed_us > one.performed_us, same_time)


def _late(row: Row[*tuple[Any, ...]]) -> Record:
    return {
        "item": row.code,
        "kind": row.kind,
        "certificate": row.number,
        "revision": row.revision,
        "due_at": row.due_at,
    }
