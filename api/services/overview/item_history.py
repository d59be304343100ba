"""What happened to an item, and what rests on it now? For a page about one item.

Instants are microseconds, for drawing; the texts are those of the records. Resting on an item now
means: the latest issued certificate of some item was made with it, directly, as a part of an
assembly that held it at that instant, or through what it calibrated. Not considered: channels,
weights and effects, which only a fault gives a meaning to (see a recall's preview).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

from sqlalchemy import and_, exists, or_, select
from sqlalchemy.orm import Session, aliased

from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.recalls import recalls
from api.services.recalls.recall_states import recall_states
from api.services.records.checks import answers as check_answers
from api.services.records.compositions import answers as holding_answers
from api.services.records.items import CUSTOMERS_OWN
from api.store import links
from api.store.chunks import chunks
from api.store.reading import SessionReader
from api.store.tables import Certificate, Check, Composition, Customer, Item, Recall, Usage
from graph.moments import instant_us

Later = aliased(Certificate)
# Beyond this many certificates a page counts them and does not name what rests on them.
MOST_FOLLOWED = 20_000
MOST_NAMED = 50


def history(session: Session, item: Item) -> Record:
    """Return calibrations, checks, holdings and recall windows of an item, each in order of time.

    Every entry has `at_us`, or `from_us` and `until_us` (None: open).
    """
    return {
        "calibrations": _calibrations(session, item),
        "checks": _checks(session, item),
        "parts": _holdings(session, Composition.assembly_id == item.id),
        "assemblies": _holdings(session, Composition.part_id == item.id),
        "windows": _windows(session, item.code),
    }


def corrected(session: Session, item: Item) -> tuple[list[Record], list[Record]]:
    """Return the checks and holdings of an item that were corrected or withdrawn.

    Each has its `corrections`; those that are withdrawn stand in no other list of the history.
    """
    held = or_(Composition.assembly_id == item.id, Composition.part_id == item.id)
    rows = session.scalars(select(Check).where(Check.item_id == item.id).order_by(Check.id))
    checks = check_answers(session, list(rows))
    stays = session.scalars(select(Composition).where(held).order_by(Composition.id))
    holdings = holding_answers(session, list(stays))
    return [one for one in checks if one.get("corrections")], [
        one for one in holdings if one.get("corrections")
    ]


def resting(session: Session, item: Item) -> Record:
    """Return what rests on an item now: its direct users, and items by their latest certificate.

    `items` are the laboratory's own; of the instruments of customers the latest are named. Both are
    None where there is more than can be followed.
    """
    direct = _users(session, item)
    reached = links.everything_downward(SessionReader(session), direct)
    found: Record = {"direct": len(direct), "reached": len(reached)}
    if len(reached) > MOST_FOLLOWED:
        return found | {"items": None, "instruments": None, "instrument_count": None}
    rows = _latest(session, reached)
    own = [row for row in rows if row["kind"] != CUSTOMERS_OWN]
    instruments = [row for row in rows if row["kind"] == CUSTOMERS_OWN]
    instruments.sort(key=lambda row: row["at_us"], reverse=True)
    return found | {
        "items": sorted(own, key=lambda row: row["item"]),
        "instruments": instruments[:MOST_NAMED],
        "instrument_count": len(instruments),
    }


def latest_certificate(session: Session, item: Item) -> Certificate | None:
    """Return the latest issued certificate of an item, if it has one."""
    return session.scalars(
        select(Certificate)
        .where(Certificate.item_id == item.id, Certificate.status == "issued")
        .order_by(Certificate.performed_us.desc(), Certificate.revision.desc())
        .limit(1)
    ).first()


def _calibrations(session: Session, item: Item) -> list[Record]:
    rows = session.scalars(
        select(Certificate)
        .where(Certificate.item_id == item.id)
        .order_by(Certificate.performed_us, Certificate.revision)
    ).all()
    states = recall_states(session, [one.id for one in rows])
    return [
        {
            "certificate": one.number,
            "revision": one.revision,
            "issuer": one.issuer or None,
            "status": one.status,
            "recall_state": states[one.id],
            "performed_at": one.performed_at,
            "due_at": one.due_at,
            "adjusted": one.adjusted,
            "assigns_value": one.assigns_value,
            "at_us": one.performed_us,
        }
        for one in rows
    ]


def _checks(session: Session, item: Item) -> list[Record]:
    found = list(
        session.scalars(
            select(Check)
            .where(Check.item_id == item.id, Check.withdrawn.is_(False))
            .order_by(Check.performed_us, Check.code)
        )
    )
    shown = check_answers(session, found)
    return [one | {"at_us": row.performed_us} for one, row in zip(shown, found, strict=True)]


def _holdings(session: Session, condition: Any) -> list[Record]:
    found = list(
        session.scalars(
            select(Composition)
            .where(condition, Composition.withdrawn.is_(False))
            .order_by(Composition.from_us)
        )
    )
    shown = holding_answers(session, found)
    return [
        one | {"from_us": row.from_us, "until_us": row.until_us}
        for one, row in zip(shown, found, strict=True)
    ]


def _windows(session: Session, code: str) -> list[Record]:
    """Windows of the recalls that name the item as faulty."""
    zone = zone_of(session)
    found = []
    for stored in session.scalars(select(Recall).order_by(Recall.id)):
        if not any(fault.get("item") == code for fault in stored.faults):
            continue
        head = recalls.head_answer(stored)
        for window in head.get("windows", [head.get("window")]):
            if window is None or window["item"] != code:
                continue
            start, end = window["start"], window["end"]
            found.append(
                {
                    "id": stored.id,
                    "number": stored.number,
                    "start": start,
                    "end": end,
                    "affected": head["summary"]["affected"],
                    "from_us": None if start is None else instant_us(start, zone),
                    "until_us": None if end is None else instant_us(end, zone),
                }
            )
    return found


def _users(session: Session, item: Item) -> set[int]:
    """Certificates that used the item, or an assembly while it held the item."""
    users = links.users_of_items(SessionReader(session), {item.id})
    frontier: list[tuple[int, int | None, int | None]] = [(item.id, None, None)]
    seen: set[tuple[int, int | None, int | None]] = set()
    while frontier:
        part, since, until = frontier.pop()
        holdings = session.scalars(
            select(Composition).where(Composition.part_id == part, Composition.withdrawn.is_(False))
        ).all()
        for one in holdings:
            start = one.from_us if since is None else max(since, one.from_us)
            ends = [end for end in (until, one.until_us) if end is not None]
            held = (one.assembly_id, start, min(ends, default=None))
            if held in seen or (held[2] is not None and held[2] <= start):
                continue
            seen.add(held)
            frontier.append(held)
            users |= set(session.scalars(_during(*held)))
    return users


def _during(assembly: int, start: int | None, end: int | None) -> Any:
    statement = select(Usage.certificate_id).where(Usage.item_id == assembly)
    if start is not None:
        statement = statement.where(Usage.used_end_us >= start)
    if end is not None:
        statement = statement.where(Usage.used_us < end)
    return statement


def _latest(session: Session, keys: Collection[int]) -> list[Record]:
    """Those of the certificates that are the latest issued one of their item."""
    later = exists().where(
        Later.item_id == Certificate.item_id,
        Later.status == "issued",
        or_(
            Later.performed_us > Certificate.performed_us,
            and_(Later.performed_us == Certificate.performed_us, Later.id > Certificate.id),
        ),
    )
    found: list[Record] = []
    for some in chunks(sorted(keys)):
        found += _named(
            session.execute(
                select(Certificate, Item.code, Item.kind, Customer.name)
                .join(Item, Item.id == Certificate.item_id)
                .outerjoin(Customer, Customer.id == Certificate.customer_id)
                .where(Certificate.id.in_(some), Certificate.status == "issued", ~later)
            )
        )
    return found


def _named(rows: Iterable[Any]) -> list[Record]:
    return [
        {
            "item": code,
            "kind": kind,
            "certificate": one.number,
            "revision": one.revision,
            "customer": customer,
            "performed_at": one.performed_at,
            "at_us": one.performed_us,
        }
        for one, code, kind, customer in rows
    ]
