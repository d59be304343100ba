"""When should an item be calibrated again? Its own certificates, inspections and loads, judged.

Choice: only issued certificates count, those of other laboratories too. A result is judged by its
error alone, as found, else single; its limits are those recorded with it unless a percentage is
asked for. What was left is as left, else single, else as found.

Not considered: the uncertainty of the results, and corrections by recalls (a note says where a
certificate of the history stands in one).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.rules.exact import exact_arithmetic, plain, ratio
from api.rules.uncertainty.history import Event, Reading, share_of_tolerance
from api.rules.uncertainty.intervals import DAYS_PER_YEAR, Policy, Use, advise
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.records import items
from api.store import load_uses
from api.store.tables import Certificate, Check, Item, RecallEntry, Result
from graph.moments import instant_us

DAY_US = 86_400_000_000
# A rate from fewer days would be a guess.
LEAST_DAYS = 30
STATEMENT = (
    "Advice worked out from records; the laboratory decides. It does not say that the item is fit "
    "for use."
)
NOTES = (
    "Results are judged by their error alone, without their uncertainty.",
    "Conditions of use, transport, and what a failure would cost are not considered.",
)
_POLICY = {
    "present_interval_days": "present_days",
    "target_reliability": "reliability",
    "step_up": "up",
    "step_down": "down",
    "keep_within": "within",
    "min_interval_days": "least_days",
    "max_interval_days": "most_days",
}
_FOUND = ("as_found", "single")
_LEFT = ("as_left", "single", "as_found")


def advice(session: Session, code: str, query: Mapping[str, Any], now_us: int) -> Record:
    """Return the advice for an item, as its schema dumps it; raise NotFound."""
    item = items.get(session, code)
    zone = zone_of(session)
    at_us = instant_us(query["at"], zone, end=True) if "at" in query else now_us
    certificates = _certificates(session, item.id, at_us)
    loaded = load_uses.uses(session, load_uses.spans(session, {item.id: load_uses.EVER}))
    loads = [(row.used_us, row.applications) for row in loaded if row.used_us <= at_us]
    events = _events(session, certificates, loads, query.get("tolerance_rel_pct"))
    use = _use(session, item, loads, at_us)
    asked = {ours: query[name] for name, ours in _POLICY.items() if name in query}
    present = _present(certificates, zone)
    policy = Policy(**{"present_days": present, "method": query["method"], **asked})
    found = advise(events, use, policy)
    last = certificates[-1] if certificates else None
    due = None if last is None or found.days is None else _due(last, found.days, zone)
    act_by = None
    if due is not None and "reaction_days" in query:
        act_by = (due - timedelta(days=query["reaction_days"])).isoformat()
    return {
        "item": code,
        "method": policy.method,
        "too_little_history": found.too_little_history,
        "present_interval_days": policy.present_days,
        "interval_days": found.days,
        "last_calibrated_at": None if last is None else last.performed_at,
        "next_date": None if due is None else due.isoformat(),
        "act_by": act_by,
        "steps": [
            {"step": s.step, "interval_days": s.days, "reason": s.reason, "source": s.source}
            for s in found.steps
        ],
        "history": _history(certificates, events),
        "use": _shown(use),
        "notes": [*NOTES, *_recalled(session, certificates)],
        "statement": STATEMENT,
    }


def _certificates(session: Session, item: int, at_us: int) -> Sequence[Certificate]:
    return session.scalars(
        select(Certificate)
        .where(
            Certificate.item_id == item,
            Certificate.status == "issued",
            Certificate.performed_us <= at_us,
        )
        .order_by(Certificate.performed_us, Certificate.revision, Certificate.id)
    ).all()


def _due(last: Certificate, days: int, zone: ZoneInfo) -> date | None:
    """Return the day so many days after a calibration; None beyond the calendar."""
    try:
        return _day(last.performed_us, zone) + timedelta(days=days)
    except OverflowError:
        return None


def _present(certificates: Sequence[Certificate], zone: ZoneInfo) -> int | None:
    """Days of the calendar from the last calibration with a due date to that date."""
    for one in reversed(certificates):
        if one.due_us is not None:
            # A bare date is due until its day ends, which makes it no later day.
            days = (_day(one.due_us, zone) - _day(one.performed_us, zone)).days
            return days if days > 0 else None
    return None


def _day(at_us: int, zone: ZoneInfo) -> date:
    return datetime.fromtimestamp(at_us // 1_000_000, UTC).astimezone(zone).date()


def _events(
    session: Session,
    certificates: Sequence[Certificate],
    loads: Sequence[tuple[int, int]],
    percent: Decimal | None,
) -> list[Event]:
    events = []
    before: Certificate | None = None
    for one in certificates:
        rows = session.scalars(
            select(Result).where(Result.certificate_id == one.id).order_by(Result.position)
        ).all()
        events.append(
            Event(
                one.number,
                one.performed_us // DAY_US,
                _readings(rows, _FOUND, percent),
                _readings(rows, _LEFT, percent),
                None
                if before is None
                else sum(n for at, n in loads if before.performed_us <= at < one.performed_us),
            )
        )
        before = one
    return events


def _readings(
    rows: Sequence[Result], stages: Sequence[str], percent: Decimal | None
) -> list[Reading]:
    """Return the readings of the first of these stages that the results have."""
    for stage in stages:
        found = [_reading(row, percent) for row in rows if row.stage == stage]
        if found:
            return [one for one in found if one is not None]
    return []


def _reading(row: Result, percent: Decimal | None) -> Reading | None:
    error, unit = row.error, row.unit
    with exact_arithmetic():
        if error is None and row.indicated is not None and row.applied is not None:
            error = row.indicated - row.applied
        if error is None:
            error, unit = row.error_rel_pct, "%"
        if error is None:
            return None
        lower, upper = row.limit_lower, row.limit_upper
        if percent is not None:
            upper = percent if unit == "%" else None
            if unit != "%" and row.applied is not None:
                upper = ratio(percent * abs(row.applied), Decimal(100))
            lower = None if upper is None else -upper
    name = " ".join(str(part) for part in (row.point, row.direction, unit) if part is not None)
    return Reading(name, error, lower, upper)


def _use(session: Session, item: Item, loads: Sequence[tuple[int, int]], at_us: int) -> Use:
    inspected = session.scalars(
        select(Check)
        .where(
            Check.item_id == item.id,
            Check.wear_pct.is_not(None),
            Check.performed_us <= at_us,
            Check.withdrawn.is_(False),
        )
        .order_by(Check.performed_us.desc(), Check.id.desc())
        .limit(1)
    ).one_or_none()
    since = None if inspected is None else inspected.performed_us
    later = sum(count for at, count in loads if since is None or at > since)
    counted = item.cycles_at_last_inspection or 0
    return Use(
        None if inspected is None else inspected.wear_pct,
        None if inspected is None else inspected.limit_pct,
        _per_year(item, loads, at_us),
        item.design_life_cycles,
        counted + later,
    )


def _per_year(item: Item, loads: Sequence[tuple[int, int]], at_us: int) -> Decimal | None:
    if not loads:
        return None
    first = loads[0][0] if item.in_service_us is None else item.in_service_us
    days = min(max((at_us - first) // DAY_US, LEAST_DAYS), DAYS_PER_YEAR)
    recent = sum(count for at, count in loads if at > at_us - days * DAY_US)
    return ratio(Decimal(recent * DAYS_PER_YEAR), Decimal(days))


def _history(certificates: Sequence[Certificate], events: Sequence[Event]) -> list[Record]:
    shown = []
    before: Event | None = None
    for one, event in zip(certificates, events, strict=True):
        share = share_of_tolerance(event.found)
        outcome = "unknown" if share is None else "inside" if share <= 1 else "outside"
        shown.append(
            {
                "certificate": one.number,
                "revision": one.revision,
                "performed_at": one.performed_at,
                "interval_days": None if before is None else event.day - before.day,
                "share_of_tolerance": None if share is None else plain(share),
                "outcome": outcome,
            }
        )
        before = event
    return shown


def _shown(use: Use) -> Record:
    rate = use.applications_per_year
    return {
        "wear_pct": None if use.wear_pct is None else plain(use.wear_pct),
        "limit_pct": None if use.limit_pct is None else plain(use.limit_pct),
        "applications_per_year": None if rate is None else plain(rate),
        "applications_so_far": use.applications_so_far,
        "design_life_cycles": use.design_life,
    }


def _recalled(session: Session, certificates: Sequence[Certificate]) -> list[str]:
    keys = [one.id for one in certificates]
    found = session.scalar(
        select(func.count(RecallEntry.certificate_id.distinct())).where(
            RecallEntry.certificate_id.in_(keys),
            RecallEntry.list_name.in_(("affected", "indeterminate")),
        )
    )
    if not found:
        return []
    return [
        f"{found} certificate(s) of this history stand in a recall as affected or indeterminate; "
        "the advice uses them as issued."
    ]
