"""From when to when is a use of the faulty item suspect, and may a check move the start?

DESIGN sections 5, 9 and 10. A fault of a certificate has no faulty item, so no check of one moves
its start. A window given by bare dates is taken as wide as those days allow. A bare
date of a check counts as the start of its day: the earliest it can vouch for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from typing import Any

import oracle_curves
from oracle_holding import use_node
from oracle_independence import Independence
from oracle_laboratory import Laboratory
from oracle_numbers import MICROSECOND, NEWTONS, Moment, instant_text, moment, number
from oracle_records import Json

# (above, up to, delta_rel) in newtons; None is an open end.
Segment = tuple[Fraction | None, Fraction | None, Fraction]
NARROWED = {
    "true_force_relative_error",
    "true_force_offset",
    "wrong_curve",
    "indicates_high",
    "indication_effect_by_type",
    "readout_gain",
}


@dataclass(frozen=True)
class Window:
    """(start, end], or [start, end) for a data fault; None is an open end."""

    start: datetime | None
    end: datetime | None
    data: bool

    def holds(self, when: Moment) -> bool:
        """True if any instant of the moment lies inside."""
        if self.start is not None and self.end is not None and self.start >= self.end:
            return False
        if self.data:
            after = self.start is None or when.last >= self.start
            return after and (self.end is None or when.first < self.end)
        after = self.start is None or when.last > self.start
        return after and (self.end is None or when.first <= self.end)

    def overlaps(self, start: datetime | None, end: datetime | None) -> bool:
        """True if it has an instant in common with (start, end]."""
        starts = [one for one in (self.start, start) if one is not None]
        ends = [one for one in (self.end, end) if one is not None]
        return not starts or not ends or max(starts) < min(ends)

    def as_json(self) -> Json:
        """The window in the form of the scenario file."""
        return {
            "start": instant_text(self.start),
            "start_inclusive": self.data,
            "end": instant_text(self.end),
            "end_inclusive": not self.data,
        }


def stated_window(lab: Laboratory, fault: Json) -> Window:
    """The window as the fault states it."""
    data = fault["kind"] == "wrong_correction_factor"
    names = ("entered_at", "fixed_at") if data else ("last_good_at", "isolated_at")
    start, end = (moment(fault[n], lab.zone) if fault.get(n) else None for n in names)
    if end is None:
        closing = None
    elif data and end.date_only:
        closing = end.last + MICROSECOND
    else:
        closing = end.last
    return Window(start.first if start is not None else None, closing, data)


def faulty_segments(fault: Json) -> list[Segment]:
    """Segments with a non-zero delta, as (above, up to, delta) in newtons."""
    return [s for s in all_segments(fault) if s[2] != 0]


def all_segments(fault: Json) -> list[Segment]:
    """All segments of the fault, as (above, up to, delta) in newtons."""
    found = []
    for segment in fault.get("segments") or []:
        above, up_to = segment.get("above_kN"), segment.get("up_to_kN")
        found.append(
            (
                None if above is None else number(above) * 1000,
                None if up_to is None else number(up_to) * 1000,
                number(segment["delta_rel"]),
            )
        )
    return found


def in_segment(force: Fraction, segment: Segment) -> bool:
    """Lower bound exclusive, upper bound inclusive."""
    above, up_to, _ = segment
    return (above is None or force > above) and (up_to is None or force <= up_to)


def smallest_fault(lab: Laboratory, fault: Json) -> Fraction | None:
    """Smallest non-zero size of the fault that a check would have to see; None if there is none."""
    kind = fault["kind"]
    if kind == "true_force_relative_error":
        if fault.get("segments"):
            sizes = [s[2] for s in all_segments(fault)]
        else:
            sizes = [number(fault["delta_rel"])]
    elif kind == "true_force_offset":
        force = number(fault["delta_force"]) * NEWTONS[fault["unit"]]
        sizes = [force / used for used in used_forces(lab, fault["item"])]
    elif kind == "wrong_curve":
        found = [oracle_curves.delta(fault, used) for used in used_forces(lab, fault["item"])]
        sizes = [] if None in found else [size for size in found if size is not None]
    elif kind == "indicates_high":
        sizes = [1 / (1 + number(fault["indication_rel"])) - 1]
    elif kind == "readout_gain":
        sizes = [number(fault["gain"]) - 1]
    else:
        sizes = [number(effect) for effect in fault["effect_rel"].values()]
        if fault.get("other_types") not in (None, "indeterminate"):
            sizes.append(number(fault["other_types"]))
    return min((abs(size) for size in sizes if size != 0), default=None)


def covered_points(covers: Any) -> list[Fraction]:
    """Forces of a check in newtons: numbers in kN, texts like "50 kN", or points with a unit."""
    if isinstance(covers, dict):
        unit = covers.get("unit") or "kN"
        return [number(point) * NEWTONS[unit] for point in covers.get("points") or []]
    forces = []
    for point in covers if isinstance(covers, list) else []:
        value, _, unit = str(point).strip().partition(" ")
        forces.append(number(value) * NEWTONS[unit.strip() or "kN"])
    return forces


def used_forces(lab: Laboratory, item: str) -> list[Fraction]:
    """Every non-zero force that the item ever bore, in newtons; its share of it in a compound."""
    forces = []
    for certificate in lab.certificates:
        for use in certificate.uses:
            tree = use_node(lab, certificate, use)
            scales = [s for n, _, s in tree.places(of_fault=True) if n.item == item]
            for row in certificate.rows:
                if use.serves(row) and row.force:
                    forces += [row.force * (1 if scale is None else scale) for scale in scales]
    return [force for force in forces if force != 0]


def covers_fault(lab: Laboratory, fault: Json, check: Json) -> bool:
    """True if the check covered the faulty range."""
    covers = check.get("covers")
    if covers is None:
        return False
    if isinstance(covers, str):
        return covers == "full range"
    points = covered_points(covers)
    if fault.get("segments"):
        return all(any(in_segment(p, s) for p in points) for s in faulty_segments(fault))
    used = used_forces(lab, fault["item"])
    return bool(used) and any(min(used) <= point <= max(used) for point in points)


def capable(
    lab: Laboratory, fault: Json, check: Json, when: Moment, independence: Independence
) -> bool:
    """True if the check would have seen the fault: independent, covering and fine enough."""
    limit, u = check.get("acceptance_limit_rel"), check.get("U_rel")
    mode = (fault.get("only") or {}).get("mode")
    if mode is not None and check.get("mode") != mode:
        return False
    smallest = smallest_fault(lab, fault)
    if check.get("independent") is not True or limit is None or u is None or smallest is None:
        return False
    against, covers = check.get("against") or [], check.get("covers")
    # The full range is that of all uses (DESIGN 9): the standard was used at each of their forces.
    full = covers == "full range"
    forces = used_forces(lab, fault["item"]) if full else covered_points(covers)
    for item in [against] if isinstance(against, str) else against:
        if independence.lost(item, when, check.get("mode"), forces):
            return False
    return covers_fault(lab, fault, check) and number(limit) + number(u) < smallest


def window(lab: Laboratory, fault: Json) -> Window:
    """The stated window, its start moved by the checks that may move it."""
    stated = stated_window(lab, fault)
    if fault["kind"] not in NARROWED or fault.get("certificate") is not None:
        return stated
    dated = [
        (moment(check["at"], lab.zone), check)
        for check in lab.checks
        if check["item"] == fault["item"]
    ]
    dated.sort(key=lambda pair: (pair[0].first, pair[1]["result"] == "pass"))
    narrowed, independence = stated, Independence(lab, fault, stated.holds)
    for when, check in dated:
        if stated.start is not None and when.first <= stated.start:
            continue
        if stated.end is not None and when.first > stated.end:
            continue
        if not capable(lab, fault, check, when, independence):
            continue
        if check["result"] != "pass":
            break
        narrowed = replace(narrowed, start=when.first)
    return narrowed
