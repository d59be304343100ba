"""What do the records say of the items in a set-up? Wear, life, events, checks, isolation.

Choice: everything is judged at the instant of the load, by what is recorded up to then. A check or
calibration of the parts in an assembly is asked of each part, not of the assembly alone.

Not checked: damage that nobody recorded. A person looks at every part before each load.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.rules.exact import plain
from api.rules.fitting.fit import at_most
from api.rules.fitting.life import PAST, WARN
from api.services.base.record import Record
from api.services.casework.isolation import isolated_items
from api.services.life.cycles import Tally, bases, loaded, open_events, tallies
from api.services.setups.capacity import capacity_findings
from api.services.setups.findings import (
    AGREES,
    DIFFERS,
    NOT_CHECKED,
    effect_of,
    finding,
    names,
    off_by,
)
from api.services.setups.setups import Piece, Setup
from api.store.chunks import chunks
from api.store.fitting import LoadEvent
from api.store.tables import Certificate, Check, Item

# A limit in percent that is larger or smaller by more places than this is a slip of the pen.
_PLACES = 6


def record_findings(
    session: Session, setup: Setup, calibrated: Mapping[int, Certificate]
) -> list[Record]:
    """Return what the records say of everything in the set-up.

    `calibrated` is the latest issued calibration of each item.
    """
    items = [one.item for one in setup.everything]
    checks = checks_until(session, [one.id for one in items], setup.at.end_us)
    counts = tallies(session, [one.item for one in setup.pieces], setup.at.end_us)
    pending = events_open(session, items, setup.at.end_us)
    return [
        *capacity_findings(setup),
        *_wear(setup, checks),
        *_lives(setup, counts),
        *_events(setup, pending),
        *_failed(setup, checks, calibrated),
        *_isolated(session, setup),
    ]


def checks_until(session: Session, items: Collection[int], at_us: int) -> dict[int, list[Check]]:
    """Return the checks of each item up to an instant, the latest last."""
    found: dict[int, list[Check]] = {}
    for some in chunks(sorted(items)):
        statement = select(Check).where(
            Check.item_id.in_(some), Check.performed_us <= at_us, Check.withdrawn.is_(False)
        )
        for check in session.scalars(statement.order_by(Check.performed_us, Check.id)):
            found.setdefault(check.item_id, []).append(check)
    return found


def events_open(session: Session, items: Sequence[Item], at_us: int) -> dict[int, list[LoadEvent]]:
    """Return, by item, the load events after which it has not passed an inspection."""
    return open_events(session, loaded(session, bases(session, items)), at_us)


def _wear(setup: Setup, checks: dict[int, list[Check]]) -> Iterator[Record]:
    unknown = []
    for one in setup.pieces:
        measured = [c for c in checks.get(one.item.id, ()) if c.wear_pct is not None]
        limit = measured[-1].limit_pct if measured else None
        if measured and limit is None:
            limit = _percent(one.stated("wear_limit_pct"))
        if not measured or limit is None or measured[-1].wear_pct is None:
            unknown.append(one)
            continue
        worn = measured[-1].wear_pct
        fit = at_most(Fraction(limit), Fraction(worn))
        said = (
            f"{one.code} was worn by {worn:f} % on {measured[-1].performed_at}; "
            f"it is rejected beyond {limit:f} %."
        )
        more = {
            "position": one.place,
            "required": f"{limit:f} %",
            "required_by": f"check {measured[-1].code}",
            "found": f"{worn:f} %",
            "off_by": off_by(fit, "%"),
        }
        if fit.agrees:
            yield finding("wear", AGREES, [one], said, **more)
        else:
            remedy = "reject the part, and look at what it was used for"
            yield finding("wear", DIFFERS, [one], said, remedy=remedy, **more)
    if unknown:
        yield finding(
            "wear",
            NOT_CHECKED,
            unknown,
            f"No inspection states the wear of {names(unknown)} and its limit.",
            missing="a check with wear_pct and limit_pct",
            remedy="inspect, and record it at POST /v1/checks",
        )


def _percent(value: object) -> Decimal | None:
    try:
        number = Decimal(str(value))
    except InvalidOperation:
        return None
    return number if number.is_finite() and abs(number.adjusted()) <= _PLACES else None


def _lives(setup: Setup, counts: dict[int, Tally]) -> Iterator[Record]:
    unknown = []
    for one in setup.pieces:
        tally = counts[one.item.id]
        if tally.share is None:
            unknown.append(one)
        else:
            yield _life(setup, one, tally, tally.share)
    if unknown:
        yield finding(
            "load_cycles",
            NOT_CHECKED,
            unknown,
            f"No design life is recorded for {names(unknown)}.",
            missing="design_life_cycles",
            remedy="record the design life of every part that carries the load",
        )


def _life(setup: Setup, one: Piece, tally: Tally, share: Fraction) -> Record:
    design = tally.item.design_life_cycles or 0
    said = f"{one.code} has seen {tally.used} load cycles of the {design} that it is designed for"
    more: Record = {
        "position": one.place,
        "required": str(design),
        "found": str(tally.used),
        "off_by": off_by(at_most(Fraction(design), Fraction(tally.used)), "cycles"),
        "computed": {"share": plain(share)},
    }
    if tally.state == PAST:
        return finding(
            "load_cycles",
            DIFFERS,
            [one],
            f"{said}: it is past its life.",
            likely_effect=effect_of(setup, "load_cycles"),
            remedy="retire it; GET /v1/items/{id}/cycles lists its later uses",
            **more,
        )
    if tally.state == WARN:
        more |= {"warning": True, "remedy": "plan its replacement"}
    return finding("load_cycles", AGREES, [one], f"{said}.", **more)


def _events(setup: Setup, pending: dict[int, list[LoadEvent]]) -> Iterator[Record]:
    clear = []
    for one in setup.everything:
        events = pending.get(one.item.id, [])
        for event in events:
            words = event.kind.replace("_", " ")
            yield finding(
                "load_event",
                DIFFERS,
                [one],
                f"{one.code} saw event {event.code} ({words}) on {event.at}; "
                "it has not passed an inspection since.",
                position=one.place,
                required="a passed inspection after it",
                found=event.code,
                remedy="inspect it before the load is applied, and record the check",
            )
        if not events:
            clear.append(one)
    if clear:
        said = f"No event that asks for an inspection is open for {names(clear)}."
        yield finding("load_event", AGREES, clear, said)


def _failed(
    setup: Setup, checks: dict[int, list[Check]], calibrated: Mapping[int, Certificate]
) -> Iterator[Record]:
    passed = []
    for one in setup.everything:
        last = next(reversed(checks.get(one.item.id, ())), None)
        since = calibrated.get(one.item.id)
        if last is None or (since is not None and since.performed_us > last.performed_us):
            continue  # a later calibration says more than the check before it
        if last.result == "fail":
            yield finding(
                "failed_check",
                DIFFERS,
                [one],
                f"{one.code} failed check {last.code} on {last.performed_at}, its latest.",
                position=one.place,
                required="pass",
                found=last.result,
                remedy="do not use it until it has passed a check",
            )
        else:
            passed.append(one)
    if passed:
        said = f"The latest checks of {names(passed)} passed."
        yield finding("failed_check", AGREES, passed, said)


def _isolated(session: Session, setup: Setup) -> Iterator[Record]:
    isolated = isolated_items(session)
    free = []
    for one in setup.everything:
        reasons = [r for r in isolated.get(one.code, ()) if r.forbids(setup.at, None)]
        for reason in reasons:
            part = "" if reason.item == one.code else f", since it holds {reason.item}"
            yield finding(
                "isolation",
                DIFFERS,
                [one],
                f"{one.code} is isolated by recall {reason.recall}{part}.",
                position=one.place,
                found=f"recall {reason.recall}",
                remedy="use another item, or have the resumption of work authorised",
            )
        if not reasons:
            free.append(one)
    if free:
        yield finding("isolation", AGREES, free, f"No open recall isolates {names(free)}.")
