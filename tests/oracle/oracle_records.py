"""What does one record of a laboratory file say: a result, a use, a certificate?

Read as DESIGN sections 3, 9 and 10 name the fields. Not checked: lawfulness.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from oracle_numbers import NEWTONS, Moment, moment, number, optional
from oracle_verdicts import Limits

Json = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """One result. `force` in newtons (None: not recorded); the rest in `unit` or percent."""

    point: str
    shown_point: Any
    stage: str
    direction: str | None
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
        direction=result.get("direction"),
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
        if not self.serves(row):
            return Fraction(0)
        if isinstance(self.weight, dict):
            return number(self.weight[row.point])
        return Fraction(1) if self.weight is None else number(self.weight)

    def serves(self, row: Row) -> bool:
        """True if the use served this point."""
        return self.points is None or row.point in self.points

    @property
    def once(self) -> tuple[str, str, str | None] | None:
        """What counts once at a point however often it is listed: a channel in a role."""
        return None if self.channel is None else (self.item, self.channel, self.role)


Named = tuple[str | None, str | None, str | None]


@dataclass(frozen=True)
class Taken:
    """What a corrected revision took from its points on account of one recall.

    `faults` are the item, channel and certificate of each fault of that recall, with its window;
    `delta_rel` is by point and stage. A laboratory file does not say it: it is read from the field
    `corrections` of a calibration, in the words in which DESIGN section 11 tells it.
    """

    faults: tuple[tuple[Named, datetime | None, datetime | None], ...]
    delta_rel: dict[tuple[str, str], Fraction]


@dataclass(frozen=True)
class Certificate:
    """One revision of one certificate with its calibration."""

    key: tuple[str, str, int]
    item: str
    status: str
    performed: Moment
    issued: Moment | None
    voided: Moment | None
    mode: str | None
    assigns: bool
    external: bool
    customer: str | None
    uses: tuple[Use, ...]
    rows: tuple[Row, ...]
    taken: tuple[Taken, ...] = ()
    curve: Json | None = field(default=None, compare=False)

    @property
    def number(self) -> str:
        """Number of the certificate."""
        return self.key[0]

    @property
    def revision(self) -> int:
        """Revision of the certificate."""
        return self.key[2]

    @property
    def date_only(self) -> bool:
        """True if the calibration, or one of its uses, is known by its day alone."""
        return self.performed.date_only or any(use.when.date_only for use in self.uses)

    @property
    def nodes(self) -> list[tuple[Row, int]]:
        """Rows that assign a value, with their place: as left, else single, else as found."""
        for stage in ("as_left", "single", "as_found"):
            found = [
                (row, index)
                for index, row in enumerate(self.rows)
                if row.stage == stage and row.force != 0
            ]
            if found:
                return found
        return []

    @property
    def span(self) -> tuple[Fraction, Fraction] | None:
        """Least and greatest calibrated force that is not zero, signed, in newtons."""
        forces = [row.force for row, _ in self.nodes if row.force is not None]
        return (min(forces), max(forces)) if forces else None


def read_use(use: Json, performed_at: str, zone: ZoneInfo) -> Use:
    """One entry of `uses`."""
    points, channel = use.get("points"), use.get("channel")
    return Use(
        item=use["item"],
        role=use.get("role"),
        channel=None if channel is None else str(channel),
        when=moment(use.get("performed_at") or performed_at, zone),
        weight=use.get("weight"),
        points=None if points is None else frozenset(str(p) for p in points),
        factor=optional(use.get("factor_applied")),
        certificate=use.get("certificate"),
        revision=use.get("revision"),
    )


def named_fault(fault: Json) -> Named:
    """Item, channel and certificate of a fault: what makes a later one the same."""
    channel = fault.get("channel")
    return fault.get("item"), None if channel is None else str(channel), fault.get("certificate")


def read_taken(record: Json, zone: ZoneInfo) -> Taken:
    """One entry of `corrections`: `faults`, their `windows`, and `points` with delta_rel."""
    faults = []
    for fault, window in zip(record["faults"], record["windows"], strict=True):
        start, end = window.get("start"), window.get("end")
        first = None if start is None else moment(start, zone).first
        faults.append((named_fault(fault), first, None if end is None else moment(end, zone).last))
    points = {
        (str(point["point"]), point.get("stage") or "single"): number(point["delta_rel"])
        for point in record["points"]
    }
    return Taken(tuple(faults), points)


def read_certificate(record: Json, zone: ZoneInfo) -> Certificate:
    """One entry of `calibrations`."""
    performed = record["performed_at"]
    issued, voided = record.get("issued_at"), record.get("voided_at")
    assigns = record.get("assigns_value")
    return Certificate(
        key=(record["certificate"], record.get("issuer") or "", int(record.get("revision") or 0)),
        item=record["item"],
        status=record.get("status") or "issued",
        performed=moment(performed, zone),
        issued=None if issued is None else moment(issued, zone),
        voided=None if voided is None else moment(voided, zone),
        mode=record.get("mode"),
        assigns=True if assigns is None else bool(assigns),
        external=bool(record.get("external")),
        customer=record.get("customer"),
        uses=tuple(read_use(use, performed, zone) for use in record.get("uses") or []),
        rows=tuple(read_row(result) for result in record.get("results") or []),
        taken=tuple(read_taken(entry, zone) for entry in record.get("corrections") or []),
        curve=record.get("curve"),
    )
