"""What a fault may be reported of, found by a text, and when it could have acted.

An item, a certificate whose values were wrong, or a method as calibrations record it. For a
certificate that is the time in which its value was in force, and who took the value from it; for a
method the calibrations that recorded it. Many of them are told in stretches of time, since they are
for drawing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from api.errors import NotFound
from api.services.base.record import Record
from api.services.certificates.certificates import heads
from api.services.overview import item_history
from api.services.overview.start import SHOWN, find_items, holding
from api.services.records.items import answer as item_answer
from api.services.records.items import get as get_item
from api.services.records.revisions import choose
from api.store.tables import Certificate, Item, Usage

# Users of a certificate or method are told in so many stretches of their time at most.
STRETCHES = 120
NO_HISTORY: Record = {
    name: [] for name in ("calibrations", "checks", "parts", "assemblies", "windows")
}


def find(session: Session, text: str) -> Record:
    """Return items, certificates and methods whose id, number or name holds a text."""
    text = text.strip()
    numbers = holding(select(Certificate), Certificate.number, text).limit(SHOWN)
    methods = holding(
        select(Certificate.method, func.count().label("many")), Certificate.method, text
    )
    found = session.execute(methods.group_by(Certificate.method).limit(SHOWN))
    return {
        "items": find_items(session, text),
        "certificates": heads(session, list(session.scalars(numbers))),
        "methods": [{"method": row.method, "calibrations": row.many} for row in found],
    }


def of_item(session: Session, code: str) -> Record:
    """Return an item with its history; NotFound if it is not recorded."""
    item = get_item(session, code)
    latest = item_history.latest_certificate(session, item)
    return {
        "item": item_answer(item),
        "history": item_history.history(session, item),
        "last_good_at": None if latest is None else latest.performed_at,
    }


def of_certificate(
    session: Session, number: str, issuer: str | None, revision: int | None
) -> Record:
    """Return a certificate, the history of its item, and `in_force` with both ends, if it ever was.

    `uses` are the calibrations that took their value from it, by stretches of time.
    """
    found = choose(session, number, issuer, revision)
    (head,) = heads(session, [found])
    item = session.get_one(Item, found.item_id)
    users = Certificate.id.in_(select(Usage.certificate_id).where(Usage.source_id == found.id))
    history = item_history.history(session, item)
    uses, count = _stretches(session, users)
    return {
        "certificate": head,
        "item": item_answer(item),
        "history": history | {"uses": uses},
        "use_count": count,
        "in_force": _in_force(found, history["calibrations"]),
    }


def of_method(session: Session, method: str) -> Record:
    """Return the calibrations that recorded a method; NotFound if none did."""
    uses, count = _stretches(session, Certificate.method == method)
    if not count:
        raise NotFound(f'no calibration recorded the method "{method}"')
    return {"history": NO_HISTORY | {"uses": uses}, "use_count": count}


def _in_force(found: Certificate, calibrations: Sequence[Record]) -> tuple[int, int | None] | None:
    """From when it served until the next issued one that assigns a value; None if it never did."""
    if found.serves_from_us is None or not found.assigns_value:
        return None
    ends = [
        one["at_us"]
        for one in calibrations
        if one["status"] == "issued" and one["assigns_value"] and one["at_us"] > found.performed_us
    ]
    if found.serves_until_us is not None:
        ends.append(found.serves_until_us)
    return found.serves_from_us, min(ends, default=None)


def _stretches(session: Session, condition: ColumnElement[bool]) -> tuple[list[Record], int]:
    """Return calibrations by stretches of time, each with its first instant and count."""
    ends = select(
        func.min(Certificate.performed_us).label("first"),
        func.max(Certificate.performed_us).label("last"),
        func.count().label("many"),
    )
    bounds: Any = session.execute(ends.where(condition)).one()
    if not bounds.many:
        return [], 0
    width = (bounds.last - bounds.first) // STRETCHES + 1
    # Grouped by a column: to PostgreSQL two equal expressions with parameters are different ones.
    placed = (
        select(
            Certificate.performed_us,
            Certificate.number,
            ((Certificate.performed_us - bounds.first) // width).label("place"),
        )
        .where(condition)
        .subquery()
    )
    statement = (
        select(
            func.min(placed.c.performed_us).label("at_us"),
            func.count().label("many"),
            func.min(placed.c.number).label("number"),
        )
        .group_by(placed.c.place)
        .order_by(placed.c.place)
    )
    rows = session.execute(statement)
    return [
        {"at_us": row.at_us, "many": row.many, "certificate": row.number} for row in rows
    ], bounds.many
