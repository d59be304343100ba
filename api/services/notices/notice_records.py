"""What became of notices: delivered, reminded, acknowledged; and who has not answered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from api.errors import InvalidRecord, Issue
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.records.customers import customer_key
from api.store.casework import Notice, NoticeRecord
from api.store.chunks import chunks
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.tables import Customer
from graph.moments import moment, text_of

DELIVERY, REMINDER, ACKNOWLEDGEMENT = "delivery", "reminder", "acknowledgement"
PARTY = {DELIVERY: "to", REMINDER: "to", ACKNOWLEDGEMENT: "from"}
SHOWN = {DELIVERY: "deliveries", REMINDER: "reminders", ACKNOWLEDGEMENT: "acknowledgements"}
Replacing = aliased(Notice)


def record(session: Session, notice: Notice, kind: str, sent: Record, now_us: int) -> None:
    """Record that a notice was delivered, reminded of or acknowledged.

    Raises
    ------
    InvalidRecord
        If that was before the notice existed, or is yet to come.
    """
    text = sent.get("at", text_of(now_us))
    at = moment(text, zone_of(session))
    if at.end_us < notice.created_us or at.start_us > now_us:
        created = text_of(notice.created_us)
        issue = Issue("/at", "not between the notice and now", f"it is of {created}", text)
        raise InvalidRecord("that cannot have happened then", [issue])
    session.add(
        NoticeRecord(
            notice_id=notice.id,
            kind=kind,
            at=text,
            at_us=at.start_us,
            party=sent[PARTY[kind]],
            how=sent["how"],
            person=sent["by"],
            note=sent.get("note"),
            recorded_us=now_us,
        )
    )
    journal_note(session, f"notice {kind}", by=sent["by"], notice=notice.number)
    session.flush()


def find(
    session: Session,
    recall_id: int,
    filters: Record,
    after: Sequence[Any] | None,
    limit: int,
    now_us: int,
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of the notices of a recall, in their order.

    With `acknowledged` false those that nobody answered and no later notice replaced.
    """
    statement = select(Notice).where(Notice.recall_id == recall_id)
    answered = select(NoticeRecord.id).where(
        NoticeRecord.notice_id == Notice.id, NoticeRecord.kind == ACKNOWLEDGEMENT
    )
    if filters.get("acknowledged") is True:
        statement = statement.where(answered.exists())
    if filters.get("acknowledged") is False:
        replaced = select(Replacing.id).where(Replacing.replaces_id == Notice.id)
        statement = statement.where(~answered.exists(), ~replaced.exists())
    if filters.get("customer") is not None:
        statement = statement.where(Notice.customer_id == customer_key(filters["customer"]))
    rows, key = page(session, statement, [Notice.id], after, limit)
    return answers(session, [row[0] for row in rows], now_us), key


def answers(session: Session, notices: Sequence[Notice], now_us: int) -> list[Record]:
    """Return notices without their content, with what became of them."""
    keys = [one.id for one in notices]
    numbers = _numbers(session, [one.replaces_id for one in notices if one.replaces_id])
    names: dict[int, str] = {}
    for some in chunks(sorted({one.customer_id for one in notices})):
        found = session.execute(select(Customer.id, Customer.name).where(Customer.id.in_(some)))
        names |= {row.id: row.name for row in found}
    became = _records(session, keys)
    shown = []
    for one in notices:
        records = became.get(one.id, {})
        acknowledged = SHOWN[ACKNOWLEDGEMENT] in records
        shown.append(
            {
                "id": one.id,
                "number": one.number,
                "recall": one.recall_id,
                "customer": names[one.customer_id],
                "created_at": text_of(one.created_us),
                "by": one.person,
                "reply_by": one.reply_by,
                "replaces": None if one.replaces_id is None else numbers[one.replaces_id],
                "content_hash": one.content_hash,
                "acknowledged": acknowledged,
                "overdue": not acknowledged and one.reply_by_us < now_us,
                **{name: records.get(name, []) for name in SHOWN.values()},
            }
        )
    return shown


def _records(session: Session, notices: Iterable[int]) -> dict[int, dict[str, list[Record]]]:
    found: dict[int, dict[str, list[Record]]] = {}
    for some in chunks(sorted(notices)):
        statement = select(NoticeRecord).where(NoticeRecord.notice_id.in_(some))
        for one in session.scalars(statement.order_by(NoticeRecord.id)):
            said = {"at": one.at, PARTY[one.kind]: one.party, "how": one.how, "by": one.person}
            said |= {} if one.note is None else {"note": one.note}
            found.setdefault(one.notice_id, {}).setdefault(SHOWN[one.kind], []).append(said)
    return found


def _numbers(session: Session, keys: Iterable[int]) -> dict[int, str]:
    found: dict[int, str] = {}
    for some in chunks(sorted(set(keys))):
        rows = session.execute(select(Notice.id, Notice.number).where(Notice.id.in_(some)))
        found |= {row.id: row.number for row in rows}
    return found
