"""How many load cycles has a part seen, and how many are left? Counted from the records.

Choice: the count begins at `cycles_at_last_inspection`, which is taken to be the count at the
item's last recorded inspection: record an inspection and the count read at it together. Without an
inspection it is the count at the beginning of the records, and without that number the count begins
at zero. To it come the applications of every later calibration that used the part, directly or in
an assembly that held it then, or that calibrated the item itself, and of load events that state
them. A use at the instant of the inspection is in its count; one on the bare date of it may be
later and is added. For an instant before the inspection the later applications are taken back.

An event is open until an inspection of the part itself passes, later than the event.

Not checked: whether `load_applications` was counted or guessed.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue
from api.rules.exact import plain
from api.rules.fitting import life
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.life.load_events import NO_INSPECTION_AFTER
from api.store import load_uses
from api.store.fitting import LoadEvent
from api.store.load_uses import EVER, Span
from api.store.tables import Check, Item
from graph.moments import instant_us, text_of

DAYS = 365
_LAST_DAY_US = 253_370_764_800_000_000  # 9999-01-01, the end of what a date can say


@dataclass(frozen=True, slots=True)
class Base:
    """Where a count begins; `check` is the inspection that it was read at."""

    cycles: int
    us: int = EVER
    check: Check | None = None
    in_service_from: str | None = None

    def answer(self) -> Record:
        """Return it as the API shows it."""
        if self.check is not None:
            read = {"since": "inspection", "at": self.check.performed_at, "check": self.check.code}
        elif self.in_service_from is not None:
            read = {"since": "in_service_from", "at": self.in_service_from}
        else:
            read = {"since": "records"}
        return {"cycles": self.cycles, **read}


@dataclass(frozen=True, slots=True)
class Tally:
    """The count of one item at an instant, and its applications in the days before."""

    item: Item
    base: Base
    used: int
    recent: int

    @property
    def share(self) -> Fraction | None:
        """The share of the design life that is used, None without one."""
        design = self.item.design_life_cycles
        return None if design is None else Fraction(self.used, design)

    @property
    def state(self) -> str | None:
        """Whether the part is active, near the end of its life or past it."""
        design = self.item.design_life_cycles
        return None if design is None else life.state(self.used, design)

    def retirement(self, at_us: int, days: int) -> Record:
        """Return the day on which the life is used up at the present rate, or why there is none."""
        design = self.item.design_life_cycles
        if design is None:
            return {"on": None, "reason": "no design life is recorded"}
        if self.used >= design:
            return {"on": None, "reason": "the design life is used up"}
        end_us = life.retirement_us(self.used, design, self.recent, days, at_us)
        if end_us is None:
            return {"on": None, "reason": f"no load application in the last {days} days"}
        if end_us >= _LAST_DAY_US:
            return {"on": None, "reason": "at this rate not before the year 9999"}
        return {"on": text_of(end_us)[:10]}

    def answer(self, at: str, at_us: int, days: int) -> Record:
        """Return it as the API shows it."""
        design, share = self.item.design_life_cycles, self.share
        shown: Record = {"item": self.item.code, "at": at, "cycles": self.used}
        if self.item.type is not None:
            shown["type"] = self.item.type
        if design is not None and share is not None:
            shown |= {"design_life_cycles": design, "share": plain(share)}
            shown |= {"remaining": max(0, design - self.used), "state": self.state}
        rate: Record = {"days": days, "applications": self.recent}
        rate["per_day"] = plain(Fraction(self.recent, days))
        return shown | {
            "base": self.base.answer(),
            "rate": rate,
            "retirement": self.retirement(at_us, days),
        }


def moment_of(session: Session, at: str | None, now_us: int) -> tuple[str, int]:
    """Return an instant as text and in microseconds; a bare date counts to its end, None is now."""
    if at is None:
        return text_of(now_us), now_us
    return at, instant_us(at, zone_of(session), end=True)


def bases(session: Session, items: Sequence[Item]) -> dict[int, Base]:
    """Return where the count of each item begins."""
    read = [item.id for item in items if item.cycles_at_last_inspection is not None]
    inspections = load_uses.last_inspections(session, read)
    found = {}
    for item in items:
        check = inspections.get(item.id)
        start = EVER if check is None else check.performed_us
        found[item.id] = Base(
            item.cycles_at_last_inspection or 0, start, check, item.in_service_from
        )
    return found


def loaded(session: Session, found: dict[int, Base]) -> list[Span]:
    """Return through what, and when, these items were loaded."""
    return load_uses.spans(session, {key: base.us for key, base in found.items()})


def tallies(
    session: Session, items: Sequence[Item], at_us: int, days: int = DAYS
) -> dict[int, Tally]:
    """Count the load cycles of items at an instant, all of them in a few statements."""
    found = bases(session, items)
    spans = loaded(session, found)
    since_us = at_us - days * life.US_A_DAY
    used = {item.id: found[item.id].cycles for item in items}
    recent = dict.fromkeys(used, 0)
    for total in load_uses.totals(session, spans, at_us, since_us):
        used[total.part] += total.after - total.before
        recent[total.part] += total.recent
    for part, event in load_uses.events(session, spans):
        number, base_us = event.applications or 0, found[part].us
        if event.at_us <= at_us:
            used[part] += number if event.at_end_us > base_us else 0
            recent[part] += number if event.at_end_us > since_us else 0
        elif event.at_end_us <= base_us:
            used[part] -= number
    # What is taken back may be more than the inspection had counted.
    return {
        item.id: Tally(item, found[item.id], max(0, used[item.id]), recent[item.id])
        for item in items
    }


def open_events(session: Session, spans: Sequence[Span], at_us: int) -> dict[int, list[LoadEvent]]:
    """Return, by item, the events after which it has not passed an inspection, up to an instant."""
    happened = [
        (part, event)
        for part, event in load_uses.events(session, spans)
        if event.kind not in NO_INSPECTION_AFTER and event.at_us <= at_us
    ]
    parts: Collection[int] = {part for part, _ in happened}
    passed = load_uses.last_inspections(session, parts, passed_until_us=at_us)
    found: dict[int, list[LoadEvent]] = {}
    for part, event in happened:
        if part not in passed or passed[part].performed_us <= event.at_us:
            found.setdefault(part, []).append(event)
    return found


def near_life(
    session: Session, query: Record, now_us: int, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], tuple[int, int, str] | None]:
    """Return the parts that have used this share of their life, the most used first.

    The key to continue behind is count, life and id. Raises InvalidRecord for a cursor that is not
    of this list.
    """
    at, at_us = moment_of(session, query.get("at"), now_us)
    least = Fraction(query["share_from"])
    items = list(session.scalars(select(Item).where(Item.design_life_cycles.is_not(None))))
    counted = tallies(session, items, at_us, query["rate_days"]).values()
    keyed = {_key(one): one for one in counted if (one.share or 0) >= least}
    keys = sorted(keyed, key=_place)
    if after is not None:
        behind = _place(_checked(after))
        keys = [key for key in keys if _place(key) > behind]
    listed = keys[:limit]
    shown = [keyed[key].answer(at, at_us, query["rate_days"]) for key in listed]
    return shown, listed[-1] if len(keys) > limit else None


def _key(one: Tally) -> tuple[int, int, str]:
    return one.used, one.item.design_life_cycles or 1, one.item.code


def _place(key: tuple[int, int, str]) -> tuple[Fraction, str]:
    return Fraction(-key[0], key[1]), key[2]


def _checked(after: Sequence[Any]) -> tuple[int, int, str]:
    if [type(part) for part in after] != [int, int, str] or after[1] < 1:
        raise InvalidRecord(
            "The cursor does not belong to this list.",
            [Issue("", "cursor of another list", "take it from the answer before")],
        )
    return after[0], after[1], after[2]
