"""A fault as it was reported: the graph's fault, its window, and the checks considered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, UnknownReference
from api.rules.units import parse_quantity, to_newton
from api.services.compositions import holdings_about
from api.services.recording import Record
from api.store import links, records
from api.store.tables import Item
from graph import faults as kinds
from graph.faults import Fault
from graph.model import Calibration, Check
from graph.moments import Moment, instant_us, moment, text_of
from graph.narrowing import Considered, Range, narrow
from graph.parts import holders
from graph.recall import Case

KILO = 1000


@dataclass(frozen=True, slots=True)
class Reported:
    """One fault with the keys of every item through which it can be met."""

    fault: Fault
    item_key: int
    case: Case
    item_keys: frozenset[int]


def report(session: Session, fault: Record, zone: ZoneInfo, as_of_us: int, place: str) -> Reported:
    """Resolve one fault; its window is not narrowed yet.

    Raises
    ------
    UnknownReference
        If the item is not recorded.
    InvalidRecord
        If the times contradict each other or the channel does not exist.
    """
    item = session.scalar(select(Item).where(Item.code == fault["item"]))
    if item is None:
        issue = Issue(
            f"{place}/item",
            f'item "{fault["item"]}" is not recorded',
            "name a recorded item; GET /v1/items lists them",
            fault["item"],
        )
        raise UnknownReference("a fault on an unknown item", [issue])
    _refuse_unknown_channel(item, fault, place)
    found = build(fault, zone, as_of_us, place)
    held = holders(item.code, holdings_about(session, [item.code]))
    codes = {item.code, *(holder.assembly for holder in held)}
    keys = session.scalars(select(Item.id).where(Item.code.in_(codes)))
    return Reported(found, item.id, Case(found, found.window(), held), frozenset(keys))


def build(fault: Record, zone: ZoneInfo, as_of_us: int, place: str = "") -> Fault:
    """Make the graph's fault of a reported one."""
    is_data = fault["kind"] == "wrong_correction_factor"
    begin, end = ("entered_at", "fixed_at") if is_data else ("last_good_at", "isolated_at")
    start_us = _instant(fault.get(begin), zone)
    # A bare date is read so that nothing is missed: from its start, until its end.
    end_us = _instant(fault.get(end), zone, end=True)
    if end_us is None:
        end_us = as_of_us
    if start_us is not None and start_us > end_us:
        issue = Issue(
            f"{place}/{end}", f"comes before {begin}", "exchange or mend them", fault.get(end)
        )
        raise InvalidRecord("the window ends before it begins", [issue])
    common: dict[str, Any] = {
        "item": fault["item"],
        "channel": fault.get("channel"),
        "start_us": start_us,
        "end_us": end_us,
        "U_delta_rel": _fraction(fault.get("U_delta_rel")),
        "U_delta_k": _fraction(fault.get("U_delta_k")) or Fraction(2),
    }
    return _of_kind(fault, common, zone, place)


def _of_kind(fault: Record, common: dict[str, Any], zone: ZoneInfo, place: str) -> Fault:
    kind = fault["kind"]
    if kind == "true_force_relative_error" and "segments" in fault:
        return kinds.SegmentedForceError(**common, segments=_segments(fault["segments"]))
    if kind == "true_force_relative_error":
        return kinds.ForceError(**common, delta_rel=Fraction(fault["delta_rel"]))
    if kind == "indicates_high":
        return kinds.IndicatesHigh(**common, indication_rel=Fraction(fault["indication_rel"]))
    if kind == "wrong_correction_factor":
        return kinds.WrongCorrectionFactor(
            **common,
            factor_applied=Fraction(fault["factor_applied"]),
            factor_right=Fraction(fault["factor_right"]),
        )
    if kind == "indication_effect_by_type":
        effects = {name: Fraction(effect) for name, effect in fault["effect_rel"].items()}
        other = _fraction(fault.get("other_types"))
        return kinds.EffectByType(**common, effect_rel=effects, other_types=other)
    if kind == "readout_gain":
        return kinds.ReadoutGain(**common, gain=Fraction(fault["gain"]))
    if kind == "interval":
        return kinds.WithinInterval(**common, bound_rel=Fraction(fault["bound_rel"]))
    if kind == "linear_drift":
        return _drift(fault, common, zone, place)
    return kinds.UnknownEffect(**common)


def _drift(fault: Record, common: dict[str, Any], zone: ZoneInfo, place: str) -> Fault:
    good_at = fault["last_good_at"]
    good_us = None if good_at is None else moment(good_at, zone).noon_us
    measured_us = moment(fault["measured_at"], zone).noon_us
    if good_us is None or measured_us <= good_us:
        issue = Issue(
            f"{place}/measured_at",
            "a drift is measured after the last good evidence",
            "give last_good_at, and a later measured_at",
            fault["measured_at"],
        )
        raise InvalidRecord("a drift needs two instants", [issue])
    return kinds.LinearDrift(
        **common,
        delta_rel=Fraction(fault["delta_rel"]),
        good_us=good_us,
        measured_us=measured_us,
    )


def _segments(segments: Iterable[Mapping[str, Any]]) -> tuple[kinds.Segment, ...]:
    def newton(force: Any) -> Fraction | None:
        return None if force is None else Fraction(force) * KILO

    return tuple(
        kinds.Segment(
            newton(one.get("above_kN")), newton(one.get("up_to_kN")), Fraction(one["delta_rel"])
        )
        for one in segments
    )


def narrowed(
    session: Session, reported: Reported, direct: Iterable[Calibration]
) -> tuple[Case, list[Considered]]:
    """Narrow the window of a fault by the checks of its item.

    `direct` are the calibrations that ever used the item; their forces are its used range.
    """
    checks = [
        _check(row, _rests_on_fault(session, row.Check, reported))
        for row in records.checks_of(session, reported.item_key)
    ]
    used = _used_range(reported, direct)
    window, considered = narrow(reported.fault, checks, used)
    return Case(reported.fault, window, reported.case.holders), considered


def window_answer(reported: Reported, case: Case, considered: list[Considered]) -> Record:
    """Return the window as the API shows it, with the checks that were weighed."""
    window = case.window
    return {
        "item": reported.fault.item,
        "start": None if window.start_us is None else text_of(window.start_us),
        "start_inclusive": window.start_inclusive,
        "end": None if window.end_us is None else text_of(window.end_us),
        "end_inclusive": window.end_inclusive,
        "checks": [
            {
                "check": one.check.code,
                "at": text_of(one.check.at.start_us),
                "moves_start": one.moves_start,
                "why": one.why,
            }
            for one in considered
        ],
    }


def recalibration_notes(session: Session, reported: Reported, case: Case) -> list[str]:
    """Say which recalibrations of the faulty item lie inside the window; they do not end it."""
    rows = records.recalibrations(
        session, reported.item_key, case.window.start_us, case.window.end_us
    )
    return [
        f"{reported.fault.item} was recalibrated inside the window ({row.number} rev. "
        f"{row.revision}, {row.performed_at}); this does not end the window by itself: set "
        "isolated_at or last_good_at if it does"
        for row in rows
    ]


def _check(row: Row[Any], rests_on_fault: bool) -> Check:
    check = row.Check
    covers = check.covers
    if isinstance(covers, list):
        covers = tuple(to_newton(*parse_quantity(force)) for force in covers)
    return Check(
        code=check.code,
        at=Moment(check.performed_us, check.performed_end_us),
        passed=check.result == "pass",
        limit_rel=_fraction(check.acceptance_limit_rel),
        U_rel=_fraction(check.U_rel),
        independent=check.independent and not rests_on_fault,
        covers_n=covers,
    )


def _rests_on_fault(session: Session, check: Any, reported: Reported) -> bool:
    """Whether the reference of a check itself rested on the faulty item at that time."""
    if check.against_id is None:
        return False
    if check.against_id in reported.item_keys:
        return True
    source = links.certificate_in_force(session, check.against_id, check.performed_end_us)
    if source is None:
        return False
    return not reported.item_keys.isdisjoint(links.items_upward(session, [source]))


def _used_range(reported: Reported, direct: Iterable[Calibration]) -> Range | None:
    names = {reported.fault.item, *(holder.assembly for holder in reported.case.holders)}
    forces = [
        point.force_n
        for calibration in direct
        for use in calibration.uses
        if use.item in names
        for point in calibration.points
        if point.force_n and (use.points is None or point.key in use.points)
    ]
    return (min(forces), max(forces)) if forces else None


def _refuse_unknown_channel(item: Item, fault: Record, place: str) -> None:
    channel = fault.get("channel")
    if channel is None or not item.channels or channel in item.channels:
        return
    issue = Issue(
        f"{place}/channel",
        f'"{item.code}" has no channel "{channel}"',
        f"its channels are {', '.join(item.channels)}",
        channel,
    )
    raise InvalidRecord("a fault on an unknown channel", [issue])


def _instant(text: str | None, zone: ZoneInfo, *, end: bool = False) -> int | None:
    return None if text is None else instant_us(text, zone, end=end)


def _fraction(value: Any) -> Fraction | None:
    return None if value is None else Fraction(value)
