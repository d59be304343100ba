"""Notices to customers: one each, numbered, unchangeable, with what became of them.

A notice is created once from the recall and the dispositions of that moment. If more is known later
a new one replaces it, and the first stays readable. The hash is SHA-256 of the content's JSON text
as it is stored and sent.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import orjson
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue, NotFound, UnknownReference, pointer
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.casework.dispositions import current
from api.services.casework.told import concerned
from api.services.feed import changes
from api.services.notices import notice_content, notice_words
from api.services.records import laboratory
from api.services.records.customers import customer_key
from api.store.casework import Disposition, Notice, RecallCase
from api.store.journal import note as journal_note
from api.store.tables import Customer, Recall
from graph.moments import moment

DAY_US = 86_400_000_000
# Common practice, no source: a month to answer where no other day is set.
DAYS_TO_REPLY = 30


@dataclass(frozen=True, slots=True)
class Created:
    """Notices that were created now, and customers that have theirs already."""

    notices: list[Notice]
    kept: list[str]


def create(session: Session, case: RecallCase, request: Record, now_us: int) -> Created:
    """Create a notice for each customer concerned that has none; with `replace` for all of them.

    Raises
    ------
    Conflict
        If the case is closed, or the laboratory has no name and contact yet.
    UnknownReference
        If a customer named is not concerned.
    """
    if case.state == "closed":
        raise Conflict("the case is closed; report the fault again to take a second look")
    sender = laboratory.answer(session)
    lacking = [name for name in ("name", "contact") if not sender[name]]
    if lacking:
        remedy = "PATCH /v1/laboratory"
        issues = [Issue("", f"the laboratory has no {name} yet", remedy) for name in lacking]
        raise Conflict("a notice says who sends it and how to answer", issues)
    zone = zone_of(session)
    recall = session.get_one(Recall, case.recall_id)
    told = _concerned(session, recall.id)
    _refuse_others(told, request)
    known = _latest(session, recall.id)
    common = {
        "recall": recall.number,
        "created_at": notice_words.local_time(now_us, zone),
        "laboratory": {name: sender[name] for name in laboratory.COLUMNS},
        "what_was_wrong": [request["wrong"]]
        if "wrong" in request
        else notice_content.faults(session, recall),
        "periods": notice_content.periods(recall, zone),
    }
    created = Created([], [])
    position = session.scalar(
        select(func.count()).select_from(Notice).where(Notice.recall_id == recall.id)
    )
    for name, (customer, keys) in sorted(told.items()):
        if "customers" in request and name not in request["customers"]:
            continue
        earlier = known.get(customer)
        if earlier is not None and not request["replace"]:
            created.kept.append(name)
            continue
        position = (position or 0) + 1
        notice = Notice(
            recall_id=recall.id,
            position=position,
            number=f"{recall.number}-N{position:02d}",
            customer_id=customer,
            replaces_id=None if earlier is None else earlier.id,
            person=request["by"],
            created_us=now_us,
            **_reply_by(request, zone, now_us),
        )
        content = common | _content(session, notice, keys, earlier)
        notice.content = orjson.dumps(content).decode()
        notice.content_hash = hashlib.sha256(notice.content.encode()).hexdigest()
        session.add(notice)
        session.flush()
        journal_note(
            session, "notice", by=notice.person, notice=notice.number, sha256=notice.content_hash
        )
        changes.note(
            session,
            "notice.created",
            now_us,
            recall_id=recall.id,
            notice_id=notice.id,
            customer_id=customer,
        )
        created.notices.append(notice)
    return created


def get(session: Session, recall_id: int, notice_id: int, customer: str | None) -> Notice:
    """Return one notice; to a customer only its own exists."""
    statement = select(Notice).where(Notice.id == notice_id, Notice.recall_id == recall_id)
    if customer is not None:
        statement = statement.where(Notice.customer_id == customer_key(customer))
    found = session.scalars(statement).one_or_none()
    if found is None:
        raise NotFound(f"recall {recall_id} has no notice {notice_id}")
    return found


def _content(
    session: Session, notice: Notice, decided: dict[int, Disposition | None], earlier: Notice | None
) -> Record:
    customer = session.get_one(Customer, notice.customer_id)
    made = {key: one for key, one in decided.items() if one is not None}
    chosen = notice_content.subjects(session, notice.recall_id, decided, made)
    return {
        "notice": notice.number,
        "replaces": None if earlier is None else earlier.number,
        "customer": {
            "name": customer.name,
            "contact": customer.contact,
            "email": customer.email,
        },
        "certificates": notice_content.certificates(session, notice.recall_id, chosen),
        "reply_by": notice.reply_by,
        "offer": notice_words.OFFER,
        "downstream": notice_words.DOWNSTREAM,
        "safety": notice_words.SAFETY,
        "authorised_by": notice.person,
    }


def _reply_by(request: Record, zone: ZoneInfo, now_us: int) -> Record:
    text = request.get("reply_by")
    if text is None:
        text = notice_words.local_time(now_us + DAYS_TO_REPLY * DAY_US, zone)[:10]
    at_us = moment(text, zone).end_us
    if at_us < now_us:
        issue = Issue("/reply_by", "lies in the past", "set a day to come", text)
        raise Conflict("nobody can reply in the past", [issue])
    return {"reply_by": text, "reply_by_us": at_us}


def _concerned(
    session: Session, recall_id: int
) -> dict[str, tuple[int, dict[int, Disposition | None]]]:
    """Each customer with its certificates and their dispositions."""
    rows = session.execute(concerned(recall_id)).all()
    decided = current(session, recall_id, [row.certificate_id for row in rows])
    found: dict[str, tuple[int, dict[int, Disposition | None]]] = {}
    for row in rows:
        theirs = found.setdefault(row.name, (row.id, {}))[1]
        theirs[row.certificate_id] = decided.get(row.certificate_id)
    return found


def _refuse_others(concerned: dict[str, Any], request: Record) -> None:
    issues = [
        Issue(pointer("customers", place), "not concerned by this recall", "leave it out", name)
        for place, name in enumerate(request.get("customers", ()))
        if name not in concerned
    ]
    if issues:
        raise UnknownReference(f"{len(issues)} customer(s) not concerned; nothing stored", issues)


def _latest(session: Session, recall_id: int) -> dict[int, Notice]:
    """The latest notice of each customer, by its key."""
    notices: Sequence[Notice] = session.scalars(
        select(Notice).where(Notice.recall_id == recall_id).order_by(Notice.id)
    ).all()
    return {one.customer_id: one for one in notices}
