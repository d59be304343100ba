"""The graph's fault of a reported one: times resolved, numbers exact, one class for each kind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from api.errors import InvalidRecord, Issue
from api.services.loaded import Record
from graph import faults as kinds
from graph.faults import Fault
from graph.moments import instant_us, moment

KILO = 1000


def build(
    fault: Record,
    zone: ZoneInfo,
    as_of_us: int | None,
    place: str = "",
    *,
    name: str,
    certificate: int | None = None,
) -> Fault:
    """Make the graph's fault of a reported one; `name` is what its paths begin with."""
    is_data = fault["kind"] == "wrong_correction_factor"
    begin, end = ("entered_at", "fixed_at") if is_data else ("last_good_at", "isolated_at")
    start_us = _instant(fault.get(begin), zone)
    # A bare date is read so that nothing is missed: from its start, until its end.
    end_us = _instant(fault.get(end), zone, end=True)
    if end_us is None:
        end_us = as_of_us
    if start_us is not None and end_us is not None and start_us > end_us:
        issue = Issue(
            f"{place}/{end}", f"comes before {begin}", "exchange or mend them", fault.get(end)
        )
        raise InvalidRecord("the window ends before it begins", [issue])
    common: dict[str, Any] = {
        "item": name,
        "certificate": certificate,
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


def _instant(text: str | None, zone: ZoneInfo, *, end: bool = False) -> int | None:
    return None if text is None else instant_us(text, zone, end=end)


def _fraction(value: Any) -> Fraction | None:
    return None if value is None else Fraction(value)
