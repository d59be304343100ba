"""What does a laboratory file say: who used what, when, held by what, valued by what?

Whole-file scans every time. Not checked: lawfulness, save what a recall cannot go on without.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from oracle_numbers import MICROSECOND, NEWTONS, Moment, moment, number, optional
from oracle_verdicts import Limits

Json = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """One result. `force` in newtons (None: not recorded); the rest in `unit` or percent."""

    point: str
    shown_point: Any
    stage: str
    unit: str | None
    relative: bool
    applied: Fraction | None
    force: Fraction | None
    error: Fraction | None
    u: Fraction | None
    k: Fraction
    limits: Limits | None
    rule: str
    reported: str | None


def read_limits(tolerance: Any) -> Limits | None:
    """Limits of a tolerance: symmetric number or lower/upper; None if there is none."""
    if tolerance is None:
        return None
    if isinstance(tolerance, dict):
        return optional(tolerance.get("lower")), optional(tolerance.get("upper"))
    return -number(tolerance), number(tolerance)


def read_row(result: Json) -> Row:
    """One entry of `results`."""
    relative = result.get("error_rel_pct") is not None
    applied = optional(result.get("applied"))
    unit = result.get("unit")
    force = None
    if applied is not None and (unit is not None or applied == 0):
        force = applied * NEWTONS[unit] if unit is not None else Fraction(0)
    if relative:
        error = optional(result["error_rel_pct"])
        u, tolerance = result.get("U_rel_pct"), result.get("tolerance_rel_pct")
    else:
        error = optional(result.get("error"))
        indicated = optional(result.get("indicated"))
        if error is None and indicated is not None and applied is not None:
            error = indicated - applied
        u, tolerance = result.get("U"), result.get("tolerance")
    return Row(
        point=str(result["point"]),
        shown_point=result["point"],
        stage=result.get("stage") or "single",
        unit="%" if relative else unit,
        relative=relative,
        applied=applied,
        force=force,
        error=error,
        u=optional(u),
        k=number(result.get("k") or 2),
        limits=read_limits(tolerance),
        rule=result.get("rule") or "simple",
        reported=result.get("verdict_reported"),
    )


@dataclass(frozen=True)
class Use:
    """One item used in one calibration, at its own moment."""

    item: str
    role: str | None
    channel: str | None
    when: Moment
    weight: Any
    points: frozenset[str] | None
    factor: Fraction | None
    certificate: str | None
    revision: int | None

    def weight_at(self, row: Row) -> Fraction:
        """Weight of this use at a point; 0 where the use did not serve the point."""
        if self.points is not None and row.point not in self.points:
            return Fraction(0)
        if isinstance(self.weight, dict):
            return number(self.weight[row.point])
        return Fraction(1) if self.weight is None else number(self.weight)

    def serves(self, row: Row) -> bool:
        """True if the use served this point."""
        return self.points is None or row.point in self.points


@dataclass(frozen=True)
class Certificate:
    """One revision of one certificate with its calibration."""

    key: tuple[str, str, int]
    number: str
    revision: int
    item: str
    status: str
    performed: Moment
    assigns: bool
    external: bool
    uses: tuple[Use, ...]
    rows: tuple[Row, ...]

    @property
    def date_only(self) -> bool:
        """True if the calibration, or one of its uses, is known by its day alone."""
        return self.performed.date_only or any(use.when.date_only for use in self.uses)


def read_certificate(record: Json, zone: ZoneInfo) -> Certificate:
    """One entry of `calibrations`."""
    uses = []
    for use in record.get("uses") or []:
        points = use.get("points")
        channel = use.get("channel")
        uses.append(
            Use(
                item=use["item"],
                role=use.get("role"),
                channel=None if channel is None else str(channel),
                when=moment(use.get("performed_at") or record["performed_at"], zone),
                weight=use.get("weight"),
                points=None if points is None else frozenset(str(p) for p in points),
                factor=optional(use.get("factor_applied")),
                certificate=use.get("certificate"),
                revision=use.get("revision"),
            )
        )
    revision = int(record.get("revision") or 0)
    assigns = record.get("assigns_value")
    return Certificate(
        key=(record["certificate"], record.get("issuer") or "", revision),
        number=record["certificate"],
        revision=revision,
        item=record["item"],
        status=record.get("status") or "issued",
        performed=moment(record["performed_at"], zone),
        assigns=True if assigns is None else bool(assigns),
        external=bool(record.get("external")),
        uses=tuple(uses),
        rows=tuple(read_row(result) for result in record.get("results") or []),
    )


@dataclass(frozen=True)
class Stay:
    """A part in an assembly from `start` (inclusive) until `end` (exclusive, None: still)."""

    part: str
    assembly: str
    start: datetime
    end: datetime | None


@dataclass(frozen=True)
class Chain:
    """A part within an assembly, through any assemblies between, while all of them held."""

    names: tuple[str, ...]
    start: datetime
    end: datetime | None

    def held_at(self, when: Moment) -> bool:
        """True if held at any instant of the moment."""
        return self.start <= when.last and (self.end is None or self.end > when.first)


class Laboratory:
    """A laboratory file, read."""

    def __init__(self, record: Json) -> None:
        self.zone = ZoneInfo(record.get("time_zone") or "UTC")
        self.types = {item["id"]: item.get("type") for item in record.get("items") or []}
        self.checks: list[Json] = record.get("checks") or []
        self.certificates = [
            read_certificate(entry, self.zone) for entry in record.get("calibrations") or []
        ]
        self.stays = []
        for entry in record.get("composition") or []:
            until = entry.get("until")
            end = None if until is None else moment(until, self.zone)
            if end is not None:
                # A bare last day is held for the whole of that day.
                last = end.last + MICROSECOND if end.date_only else end.first
            start = moment(entry["from"], self.zone).first
            part, assembly = entry["part"], entry["assembly"]
            self.stays.append(Stay(part, assembly, start, last if end is not None else None))

    def chains(self, part: str, assembly: str) -> list[Chain]:
        """Every way in which `assembly` ever held `part`, nested ones too."""
        found = []
        for stay in self.stays:
            if stay.part != part:
                continue
            if stay.assembly == assembly:
                found.append(Chain((part, assembly), stay.start, stay.end))
                continue
            for outer in self.chains(stay.assembly, assembly):
                ends = [end for end in (stay.end, outer.end) if end is not None]
                start, end = max(stay.start, outer.start), min(ends) if ends else None
                if end is None or start < end:
                    found.append(Chain((part, *outer.names), start, end))
        return found

    def latest(self, item: str, when: Moment, any_kind: bool) -> Certificate | None:
        """Latest issued calibration of an item at a moment, of those that assign a value or all.

        A bare date of use counts as the end of its day, one of a calibration as its start.
        """
        known = [
            c
            for c in self.certificates
            if c.item == item
            and c.status == "issued"
            and (any_kind or c.assigns)
            and c.performed.first <= when.last
        ]
        return max(known, key=lambda c: (c.performed.first, c.revision, c.number), default=None)

    def named(self, use: Use) -> Certificate:
        """The certificate a use names: that revision in any status, else the highest issued."""
        known = [
            c
            for c in self.certificates
            if c.item == use.item
            and c.number == use.certificate
            and (c.status == "issued" if use.revision is None else c.revision == use.revision)
        ]
        if not known:
            raise ValueError(f"a use names an unknown certificate {use.certificate}")
        return max(known, key=lambda c: c.revision)

    def value_from(self, use: Use) -> Certificate | None:
        """The certificate that gives the used item its value in this use."""
        return self.named(use) if use.certificate else self.latest(use.item, use.when, False)
