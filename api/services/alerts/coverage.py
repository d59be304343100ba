"""Does a recall answer an alert? Its fault is of the item, and its window holds the failure.

A window that ended before the failure was found, because the item had been taken out of use, holds
it where nothing used the item between. All uses of an overdue item must lie inside.

Not asked: whether the kind and size of the fault are those of the failure; a person says so.
"""

from __future__ import annotations

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.alerts.failures import OVERDUE
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.recalls.differences import windows_of
from api.store.alerts import Alert
from api.store.assemblies import holders
from api.store.reading import SessionReader
from api.store.tables import Certificate, Item, Recall, Usage
from graph.moments import instant_us


def why_not(session: Session, recall: Recall, alert: Alert) -> str | None:
    """Return why a recall does not answer an alert; None if it does."""
    code = session.get_one(Item, alert.item_id).code
    windows = windows_of(orjson.loads(recall.head))
    own = [
        window
        for fault, window in zip(recall.faults, windows, strict=True)
        if _is_of(session, fault, alert.item_id, code)
    ]
    if not own:
        return f"no fault of recall {recall.number} is of {code}"
    if any(_holds(session, window, alert) for window in own):
        return None
    window = own[0]
    start, end = window["start"] or "the beginning", window["end"] or "today"
    what = f"the failure at {alert.at}"
    if alert.kind == OVERDUE:
        what = f"the uses from {alert.at} to {alert.until}"
    return (
        f"the window of recall {recall.number} for {code}, {start} to {end}, does not hold {what}"
    )


def covering(session: Session, alert: Alert) -> list[Recall]:
    """Return the stored recalls that would answer an alert, latest looks alone, newest first."""
    looked_at_again = select(Recall.previous_id).where(Recall.previous_id.is_not(None))
    latest = select(Recall).where(Recall.id.not_in(looked_at_again)).order_by(Recall.id.desc())
    return [one for one in session.scalars(latest) if why_not(session, one, alert) is None]


def _is_of(session: Session, fault: Record, item: int, code: str) -> bool:
    if fault.get("item") is not None:
        return bool(fault["item"] == code)
    of_item = select(Certificate.id).where(
        Certificate.number == fault.get("certificate"), Certificate.item_id == item
    )
    return session.scalar(of_item.limit(1)) is not None


def _holds(session: Session, window: Record, alert: Alert) -> bool:
    zone = zone_of(session)
    start, end = (
        None if window[name] is None else instant_us(window[name], zone)
        for name in ("start", "end")
    )
    if alert.kind == OVERDUE:
        return (start is None or start <= alert.at_us) and (end is None or alert.until_us <= end)
    if start is not None and alert.until_us <= start and not window["start_inclusive"]:
        return False
    if start is not None and alert.until_us < start:
        return False
    return end is None or alert.at_us <= end or _rested(session, alert, end)


def _rested(session: Session, alert: Alert, since_us: int) -> bool:
    """Whether nothing used an item, or what held it, between an instant and its failure."""
    items = holders(SessionReader(session), {alert.item_id})
    used = select(Usage.id).where(
        Usage.item_id.in_(sorted(items)),
        Usage.used_end_us > since_us,
        Usage.used_us <= alert.at_us,
    )
    return session.scalar(used.limit(1)) is None
