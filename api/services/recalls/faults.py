"""What a reported fault is, what it concerns, and who met that directly.

`report` finds the item, certificate or method in the records; `build` makes the graph's fault:
times resolved, numbers exact, one class for each kind.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from api.errors import InvalidRecord, Issue, NotFound, UnknownReference
from api.services.base.record import Record
from api.services.recalls import curve_faults
from api.services.records.certificate_numbers import of_one_issuer, the_one
from api.services.records.holdings import holdings_above
from api.store.records import ItemRow
from api.store.sources import Source
from graph import faults as kinds
from graph.faults import Fault, Only
from graph.moments import instant_us, moment
from graph.parts import holders
from graph.suspects import SuspectWindow

METHOD_PREFIX = "method:"
KILO = 1000


@dataclass(frozen=True, slots=True)
class Reported:
    """One fault with its widest window, and the keys of what it is met through.

    `item_key` is None for a fault of a certificate or a method. `direct` are the certificates that
    ever used what is faulty.
    """

    fault: Fault
    case: SuspectWindow
    direct: frozenset[int]
    item_key: int | None = None
    item_keys: frozenset[int] = frozenset()
    kind: str | None = None
    method: str | None = None


def report(source: Source, fault: Record, zone: ZoneInfo, place: str) -> Reported:
    """Resolve one fault; its window is not narrowed yet.

    Raises
    ------
    UnknownReference
        If what is faulty is not recorded.
    InvalidRecord
        If the times contradict each other or the channel does not exist.
    """
    if "method" in fault:
        method = fault["method"]
        found = build(fault, zone, place, name=METHOD_PREFIX + method)
        users = source.certificates_by_method(method)
        return Reported(
            found, SuspectWindow(found, found.window()), frozenset(users), method=method
        )
    if "certificate" in fault:
        return _of_certificate(source, fault, zone, place)
    item = source.item(fault["item"])
    if item is None:
        issue = Issue(
            f"{place}/item",
            f'item "{fault["item"]}" is not recorded',
            "name a recorded item; GET /v1/items lists them",
            fault["item"],
        )
        raise UnknownReference("a fault on an unknown item", [issue])
    _refuse_unknown_channel(item, fault, place)
    alone = json.loads(item.channels or "[]") == [fault.get("channel")]
    found = build(fault, zone, place, name=item.code, only_channel=alone)
    held = holders(item.code, holdings_above(source, [item.code]))
    codes = {item.code, *(holder.assembly for holder in held)}
    keys = frozenset(source.item_keys(codes))
    users = source.users_of_items(keys)
    case = SuspectWindow(found, found.window(), held)
    return Reported(found, case, frozenset(users), item.id, keys, item.kind)


def _of_certificate(source: Source, fault: Record, zone: ZoneInfo, place: str) -> Reported:
    number = fault["certificate"]
    try:
        numbered = of_one_issuer(source.numbered(number), number, fault.get("issuer"))
        # Without a revision all of them: who used an earlier one has its values all the same.
        wrong = [the_one(numbered, number, fault["revision"])] if "revision" in fault else numbered
    except NotFound as missing:
        remedy = "name a recorded certificate; GET /v1/certificates lists them"
        issue = Issue(f"{place}/certificate", missing.detail, remedy, number)
        raise UnknownReference("a fault on an unknown certificate", [issue]) from missing
    keys = frozenset(one.id for one in wrong)
    found = build(fault, zone, place, name=number, certificates=keys)
    users = {user for key in keys for user in source.users_of_certificate(key)}
    return Reported(found, SuspectWindow(found, found.window()), frozenset(users))


def _refuse_unknown_channel(item: ItemRow, fault: Record, place: str) -> None:
    channel = fault.get("channel")
    channels = None if item.channels is None else json.loads(item.channels)
    if channel is None or not channels or channel in channels:
        return
    issue = Issue(
        f"{place}/channel",
        f'"{item.code}" has no channel "{channel}"',
        f"its channels are {', '.join(channels)}",
        channel,
    )
    raise InvalidRecord("a fault on an unknown channel", [issue])


def build(
    fault: Record,
    zone: ZoneInfo,
    place: str = "",
    *,
    name: str,
    certificates: frozenset[int] = frozenset(),
    only_channel: bool = False,
) -> Fault:
    """Make the graph's fault of a reported one; `name` is what its paths begin with."""
    is_data = fault["kind"] == "wrong_correction_factor"
    begin, end = ("entered_at", "fixed_at") if is_data else ("last_good_at", "isolated_at")
    start_us = _instant(fault.get(begin), zone)
    # A bare date is read so that nothing is missed: from its start, until its end.
    end_us = _instant(fault.get(end), zone, end=True)
    if start_us is not None and end_us is not None and start_us > end_us:
        issue = Issue(
            f"{place}/{end}", f"comes before {begin}", "exchange or mend them", fault.get(end)
        )
        raise InvalidRecord("the window ends before it begins", [issue])
    if is_data and end_us is not None and moment(fault[end], zone).date_only:
        end_us += 1  # such a window ends just before its end, which here is the next midnight
    common: dict[str, Any] = {
        "item": name,
        "certificates": certificates,
        "channel": fault.get("channel"),
        "start_us": start_us,
        "end_us": end_us,
        "U_delta_rel": _fraction(fault.get("U_delta_rel")),
        "U_delta_k": _fraction(fault.get("U_delta_k")) or Fraction(2),
        "only": _only(fault.get("only")),
        "only_channel": only_channel,
        "kind": fault["kind"],
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
    if kind == "understated_uncertainty":
        right, recorded = (
            Fraction(fault[f"U_rel_{name}"]) / Fraction(fault.get(f"k_{name}", 2))
            for name in ("right", "recorded")
        )
        return kinds.UnderstatedUncertainty(**common, added=right**2 - recorded**2)
    if kind == "true_force_offset":
        return _offset(fault, common)
    if kind == curve_faults.KIND:
        return curve_faults.wrong_curve(fault, common, place)
    if kind == "unknown":
        return kinds.UnknownEffect(**common)
    raise ValueError(f"no fault of kind {kind}")


def _offset(fault: Record, common: dict[str, Any]) -> Fault:
    # Few faults are forces, and a first list does not wait for the table of units.
    from api.rules.units import to_newton

    U = fault.get("U_delta_force")
    return kinds.ForceOffset(
        **common,
        delta_n=to_newton(fault["delta_force"], fault["unit"]),
        U_delta_n=None if U is None else to_newton(U, fault["unit"]),
    )


def _only(sent: Mapping[str, Any] | None) -> Only | None:
    if sent is None:
        return None
    ways, roles = sent.get("directions"), sent.get("roles")
    return Only(
        sent.get("mode"),
        None if ways is None else frozenset(ways),
        None if roles is None else frozenset(roles),
    )


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


def _instant(text: str | None, zone: ZoneInfo, *, end: bool = False) -> int | None:
    return None if text is None else instant_us(text, zone, end=end)


def _fraction(value: Any) -> Fraction | None:
    return None if value is None else Fraction(value)
