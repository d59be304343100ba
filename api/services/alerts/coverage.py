"""Does a recall answer an alert? Its fault is of the item, and its window holds what failed.

The window begins before the failure and holds every use of the item, or of what held it, until good
evidence follows. So a window that ended before the failure was found, because the item had been
taken out of use, answers it where nothing used the item since; one that ends with the failure does
not where something did. Windows of one recall count together. All uses of an overdue item must lie
inside one.

A failure that was seen because a recall corrected the certificate is answered by that recall, or
another look at it, if it lists every use of the item between the good evidence before and behind
the failure: what it does not list, the item's own fault would have to reach.

Not asked: whether the kind and size of the fault are those of the failure; a person says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple
from zoneinfo import ZoneInfo

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.alerts.failures import FOUND, OVERDUE
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.recalls.differences import windows_of
from api.services.recalls.giving_back import looks_back
from api.services.recalls.later_uses import Span, Used, span_of, uses_within
from api.services.recalls.soundness import histories
from api.store.alerts import Alert
from api.store.chunks import chunks
from api.store.tables import Certificate, Item, Recall, RecallEntry
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED
from graph.moments import instant_us, text_of

# Where a use stands of which a recall has told.
_LISTED = (AFFECTED, INDETERMINATE, EXPOSED, NOT_EXCLUDED)


def why_not(session: Session, recall: Recall, alert: Alert) -> str | None:
    """Return why a recall does not answer an alert; None if it does."""
    item = session.get_one(Item, alert.item_id)
    code = item.code
    windows = windows_of(orjson.loads(recall.head))
    own = [
        window
        for fault, window in zip(recall.faults, windows, strict=True)
        if _is_of(session, fault, alert.item_id, code)
    ]
    if not own and (looks := _looks_that_corrected(session, recall, alert)):
        return _not_listed(session, recall, looks, alert, code)
    if not own:
        return f"no fault of recall {recall.number} is of {code}"
    zone = zone_of(session)
    if alert.kind == OVERDUE:
        held = any(_holds_all(_bounds(window, zone), alert) for window in own)
        what = None if held else f"the uses from {alert.at} to {alert.until}"
    else:
        what = _gap(session, own, alert, item, zone)
    if what is None:
        return None
    window = own[0]
    start, end = window["start"] or "the beginning", window["end"] or "today"
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


def _looks_that_corrected(session: Session, recall: Recall, alert: Alert) -> list[int]:
    """Return a recall and the looks before it, if one of them corrected what failed as found."""
    if alert.kind != FOUND or alert.certificate_id is None:
        return []
    made = session.get_one(Certificate, alert.certificate_id).fault_corrections or ()
    corrected_by = {one["recall"] for one in made}
    looks = list(looks_back(session, recall))
    return [one.id for one in looks] if any(one.number in corrected_by for one in looks) else []


def _not_listed(
    session: Session, recall: Recall, looks: Sequence[int], alert: Alert, code: str
) -> str | None:
    """Return which uses around a failure no look lists; None if one of them lists every one."""
    history = histories(session, [alert.item_id]).get(alert.item_id, [])
    uses = uses_within(session, alert.item_id, span_of(history, alert.at_us))
    listed = {
        (row.issuer, row.number)
        for some in chunks(sorted({one.number for one in uses}))
        for row in session.execute(
            select(Certificate.issuer, Certificate.number)
            .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
            .where(
                RecallEntry.recall_id.in_(looks),
                RecallEntry.list_name.in_(_LISTED),
                Certificate.number.in_(some),
            )
        )
    }
    left_out = [one for one in uses if (one.issuer, one.number) not in listed]
    if not left_out:
        return None
    return (
        f"recall {recall.number} corrected what failed, and lists not every use of {code} from the "
        f"good evidence before it until the next: {_named(left_out)}"
    )


def _named(uses: Sequence[Used]) -> str:
    first = uses[0]
    many = "" if len(uses) == 1 else f", the first of {len(uses)}"
    return f"{text_of(first.used_us)} in {first.number}{many}"


class _Bounds(NamedTuple):
    start_us: int | None
    start_inclusive: bool
    end_us: int | None

    def begins_before(self, alert: Alert) -> bool:
        """Whether the window began when it failed."""
        if self.start_us is None or self.start_us < alert.until_us:
            return True
        return self.start_us == alert.until_us and self.start_inclusive

    def holds(self, use: Used) -> bool:
        """Whether a use lies inside, or any instant of its day."""
        if self.end_us is not None and use.used_us > self.end_us:
            return False
        return self.start_us is None or use.used_end_us > self.start_us


def _bounds(window: Record, zone: ZoneInfo) -> _Bounds:
    start, end = (
        None if window[name] is None else instant_us(window[name], zone)
        for name in ("start", "end")
    )
    return _Bounds(start, window["start_inclusive"], end)


def _holds_all(window: _Bounds, alert: Alert) -> bool:
    """Whether a window holds every use of an overdue item."""
    begins = window.start_us is None or window.start_us <= alert.at_us
    return begins and (window.end_us is None or alert.until_us <= window.end_us)


def _gap(
    session: Session, windows: Sequence[Record], alert: Alert, item: Item, zone: ZoneInfo
) -> str | None:
    """Return what windows leave out of a failure: itself, or uses until good evidence follows."""
    bounds = [_bounds(window, zone) for window in windows]
    holding = [one for one in bounds if one.begins_before(alert)]
    if not holding:
        return f"the failure at {alert.at}"
    if any(one.end_us is None for one in holding):
        return None
    history = histories(session, [item.id]).get(item.id, [])
    earliest = min(one.end_us for one in holding if one.end_us is not None)
    span = Span(earliest, span_of(history, alert.at_us).before_us)
    left_out = [
        one
        for one in uses_within(session, item.id, span)
        if one.used_us > earliest and not any(window.holds(one) for window in bounds)
    ]
    if not left_out:
        return None
    first = left_out[0]
    uses = "1 use" if len(left_out) == 1 else f"{len(left_out)} uses"
    return (
        f"{uses} until good evidence follows the failure at {alert.at}: "
        f"{text_of(first.used_us)} in {first.number}"
    )
