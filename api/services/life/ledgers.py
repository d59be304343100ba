"""The ledger of one part: which calibrations and events loaded it, and which came too late.

A use is too late if it followed the use that passed the design life, or an event that is still
open. The weighted count shares the applications of a calibration equally among the forces recorded
in its results, of the whole applied force, whatever share of it the part carried.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.rules.exact import plain
from api.rules.fitting.life import counted, weighted
from api.rules.units import is_force, to_newton
from api.services.base.record import Record
from api.services.life import load_events
from api.services.life.cycles import Base, Tally, bases, loaded, moment_of, open_events, tallies
from api.services.records.items import get as get_item
from api.services.records.items import newtons, rated_capacity
from api.store import load_uses
from api.store.chunks import chunks
from api.store.fitting import LoadEvent
from api.store.tables import Certificate, Item, Result
from graph.moments import text_of

MOST_USES = 1_000  # of each list, the latest ones; the counts say how many there are


@dataclass(frozen=True, slots=True)
class Load:
    """Some applications on the part: of a calibration, or of an event."""

    start_us: int
    end_us: int
    applications: int
    certificate: int | None = None
    event: LoadEvent | None = None


class Passing(NamedTuple):
    """The design life was passed: loads after this place are late. `at_us` is None if unknown."""

    after: tuple[int, int]
    at_us: int | None


def ledger(session: Session, code: str, query: Record, now_us: int) -> Record:
    """Return the ledger of one item; raise NotFound."""
    item = get_item(session, code)
    at, at_us = moment_of(session, query.get("at"), now_us)
    tally = tallies(session, [item], at_us, query["rate_days"])[item.id]
    found = bases(session, [item])
    spans = loaded(session, found)
    events = [event for _, event in load_uses.events(session, spans) if event.at_us <= at_us]
    uses = [row for row in load_uses.uses(session, spans) if row.used_us <= at_us]
    loads = [
        Load(row.used_us, row.used_end_us, row.applications, row.certificate_id) for row in uses
    ]
    pending = open_events(session, spans, at_us).get(item.id, [])
    after_base = [one for one in _with_events(loads, events) if one.end_us > tally.base.us]
    passed = _passing(after_base, tally)
    late = dict(_late(loads, pending, passed))
    since = [one for one in loads if one.end_us > tally.base.us]
    shown = _shown(session, {*since[-MOST_USES:], *sorted(late, key=_when)[-MOST_USES:]})
    answer = tally.answer(at, at_us, query["rate_days"]) | {
        "life_passed_at": text_of(passed.at_us) if passed and passed.at_us else None,
        "uses": [shown[one] for one in since[-MOST_USES:]],
        "use_count": len(since),
        "events": load_events.answers(session, events),
        "open_events": [one.code for one in pending],
        "later_uses": [
            shown[one] | {"after": late[one]} for one in sorted(late, key=_when)[-MOST_USES:]
        ],
        "later_use_count": len(late),
    }
    if "m" in query:
        answer["weighted"] = _weighted(session, item, tally.base, after_base, query["m"])
    return answer


def _when(one: Load) -> tuple[int, int]:
    return one.start_us, one.certificate or 0


def _with_events(loads: Sequence[Load], events: Sequence[LoadEvent]) -> list[Load]:
    added = [
        Load(one.at_us, one.at_end_us, one.applications, event=one)
        for one in events
        if one.applications
    ]
    return sorted([*loads, *added], key=_when)


def _passing(after_base: Sequence[Load], tally: Tally) -> Passing | None:
    design, count = tally.item.design_life_cycles, tally.base.cycles
    if design is None:
        return None
    if count > design:
        return Passing((tally.base.us, 0), None if tally.base.check is None else tally.base.us)
    for one in after_base:
        count += one.applications
        if count > design:
            return Passing(_when(one), one.start_us)
    return None


def _late(
    loads: Sequence[Load], pending: Sequence[LoadEvent], passed: Passing | None
) -> Iterator[tuple[Load, list[str]]]:
    for one in loads:
        after = [f"{event.kind} {event.code}" for event in pending if one.end_us > event.at_us]
        if passed is not None and _when(one) > passed.after:
            after.insert(0, "the design life was passed")
        if after:
            yield one, after


def _shown(session: Session, loads: set[Load]) -> Mapping[Load, Record]:
    keys = sorted({one.certificate for one in loads if one.certificate is not None})
    rows: dict[int, Any] = {}
    for some in chunks(keys):
        statement = select(Certificate, Item.code).join(Item, Item.id == Certificate.item_id)
        for certificate, code in session.execute(statement.where(Certificate.id.in_(some))):
            rows[certificate.id] = certificate, code
    shown = {}
    for one in loads:
        certificate, code = rows[one.certificate or 0]
        shown[one] = {
            "certificate": certificate.number,
            "revision": certificate.revision,
            **({"issuer": certificate.issuer} if certificate.issuer else {}),
            "status": certificate.status,
            "item": code,
            "at": certificate.performed_at,
            "applications": one.applications,
        }
    return shown


def _weighted(
    session: Session, item: Item, base: Base, after_base: Sequence[Load], m: int
) -> Record:
    rated = newtons(rated_capacity(item))
    if rated is None:
        reason = "no rated capacity is recorded"
        return {"m": m, "cycles": None, "reason": reason}
    forces = _forces(
        session, [one.certificate for one in after_base if one.certificate is not None]
    )
    total, unknown = Fraction(base.cycles), 0
    for one in after_base:
        found = forces.get(one.certificate or 0, [])
        if one.event is not None and one.event.force is not None and one.event.unit is not None:
            found = [to_newton(one.event.force, one.event.unit)]
        unknown += 0 if found else one.applications
        total += weighted(one.applications, found, rated, m)
    return {"m": m, "cycles": plain(counted(total)), "without_force": unknown}


def _forces(session: Session, certificates: Sequence[int]) -> dict[int, list[Fraction]]:
    """Return the forces, in newton, that each certificate recorded as applied, zero left out."""
    found: dict[int, list[Fraction]] = {}
    for some in chunks(sorted(set(certificates))):
        statement = select(Result.certificate_id, Result.applied, Result.unit).where(
            Result.certificate_id.in_(some), Result.applied.is_not(None)
        )
        for key, applied, unit in session.execute(statement):
            if applied and unit is not None and is_force(unit):
                found.setdefault(key, []).append(to_newton(applied, unit))
    return found
