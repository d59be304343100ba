"""What happened, in order: the feed that a LIMS follows to stop the use of a certificate at once.

A change is written in the transaction of what it tells, and its id is the cursor. The graph lock is
taken before the first change of a transaction, so that ids become visible in their order and a
reader that goes on behind the last id it saw misses nothing.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import Row, Select, func, insert, literal, select
from sqlalchemy.orm import Session, aliased

from api.services.base.record import Record
from api.services.records.customers import customer_key
from api.store.alerts import Alert
from api.store.casework import Change, Notice
from api.store.graph_lock import lock_graph
from api.store.tables import Certificate, Item, Recall, RecallEntry
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED
from graph.moments import text_of

LISTED = (AFFECTED, INDETERMINATE, EXPOSED, NOT_EXCLUDED)
# Each event with the name under which its detail is shown.
EVENTS = {
    "certificate.recorded": "status",
    "certificate.issued": "status",
    "certificate.superseded": "superseded_by",
    "certificate.voided": "status",
    "certificate.recalled": "class",
    "disposition.made": "action",
    "case.changed": "state",
    "recall.stale": "stale",
    "notice.created": "notice",
    "alert.raised": "state",
    "alert.answered": "state",
    "alert.ended": "state",
}


def note(session: Session, event: str, now_us: int, **about: Any) -> None:
    """Add one change; `about` are columns of the table."""
    lock_graph(session)
    session.add(Change(at_us=now_us, event=event, **about))


def note_certificate(
    session: Session, event: str, certificate: Certificate, now_us: int, detail: str | None = None
) -> None:
    """Add the change of one certificate; the detail is its status unless another is given."""
    note(
        session,
        event,
        now_us,
        certificate_id=certificate.id,
        customer_id=certificate.customer_id,
        detail=certificate.status if detail is None else detail,
    )


def note_recorded(session: Session, first: int, now_us: int) -> None:
    """Add a change for each certificate recorded from this key on."""
    recorded = (
        _about(now_us, "certificate.recorded", Certificate.status)
        .where(Certificate.id >= first)
        .order_by(Certificate.id)
    )
    _insert(session, recorded)


def note_listed(session: Session, recall_id: int, now_us: int) -> None:
    """Add a change for each certificate that a recall lists."""
    listed = (
        _about(now_us, "certificate.recalled", RecallEntry.list_name, recall_id)
        .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
        .where(RecallEntry.recall_id == recall_id, RecallEntry.list_name.in_(LISTED))
        .order_by(RecallEntry.list_name, RecallEntry.position)
    )
    _insert(session, listed)


def note_dispositions(
    session: Session, recall_id: int, certificates: Collection[int], action: str, now_us: int
) -> None:
    """Add a change for each certificate that got a disposition."""
    made = _about(now_us, "disposition.made", literal(action), recall_id)
    _insert(session, made.where(Certificate.id.in_(certificates)).order_by(Certificate.id))


def _about(
    now_us: int, event: str, detail: Any, recall_id: int | None = None
) -> Select[*tuple[Any, ...]]:
    return select(
        literal(now_us, Change.at_us.type),
        literal(event),
        Certificate.id,
        Certificate.customer_id,
        literal(recall_id, Change.recall_id.type),
        detail,
    )


def _insert(session: Session, rows: Select[*tuple[Any, ...]]) -> None:
    lock_graph(session)
    session.flush()
    columns = ["at_us", "event", "certificate_id", "customer_id", "recall_id", "detail"]
    session.execute(insert(Change).from_select(columns, rows))


def find(
    session: Session,
    limit: int,
    *,
    after: int = 0,
    since_us: int | None = None,
    events: Collection[str] | None = None,
    customer: str | None = None,
) -> tuple[list[Record], int, bool]:
    """Return changes behind a cursor, or since an instant; the new cursor; whether more follow.

    With `customer` only what concerns that customer's certificates and notices.
    """
    # What is committed from here on has a greater id, and waits for the next question.
    newest = session.scalar(select(func.max(Change.id))) or 0
    if since_us is not None:
        first = session.scalar(select(func.min(Change.id)).where(Change.at_us >= since_us))
        after = newest if first is None else first - 1
    statement = _CHANGES.where(Change.id > after, Change.id <= newest)
    if events is not None:
        statement = statement.where(Change.event.in_(events))
    if customer is not None:
        statement = statement.where(Change.customer_id == customer_key(customer))
    rows = session.execute(statement.order_by(Change.id).limit(limit + 1)).all()
    found = [_shown(row) for row in rows[:limit]]
    if len(rows) > limit:
        return found, rows[limit - 1].Change.id, True
    return found, max(after, newest), False


Alerted = aliased(Item)
_CHANGES = (
    select(
        Change,
        Certificate.number.label("certificate"),
        Certificate.revision,
        Certificate.issuer,
        Item.code.label("item"),
        Recall.number.label("recall_number"),
        Notice.number.label("notice"),
        Alerted.code.label("alerted"),
    )
    .outerjoin(Certificate, Certificate.id == Change.certificate_id)
    .outerjoin(Item, Item.id == Certificate.item_id)
    .outerjoin(Recall, Recall.id == Change.recall_id)
    .outerjoin(Notice, Notice.id == Change.notice_id)
    .outerjoin(Alert, Alert.id == Change.alert_id)
    .outerjoin(Alerted, Alerted.id == Alert.item_id)
)


def _shown(row: Row[*tuple[Any, ...]]) -> Record:
    change: Change = row.Change
    shown: Record = {
        "cursor": str(change.id),
        "at": text_of(change.at_us),
        "event": change.event,
        "certificate": row.certificate,
        "revision": row.revision,
        "issuer": row.issuer or None,
        "item": row.alerted or row.item,
        "alert": change.alert_id,
        "recall": change.recall_id,
        "recall_number": row.recall_number,
        "notice_id": change.notice_id,
        EVENTS[change.event]: row.notice if change.detail is None else change.detail,
    }
    return {name: value for name, value in shown.items() if value is not None}
