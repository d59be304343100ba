"""What does a laboratory file say: who used what, when, and which value was then in force?

DESIGN section 10, "What a use rested on". Whole-file scans every time. Not checked: lawfulness,
save what a recall cannot go on without.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from zoneinfo import ZoneInfo

from oracle_numbers import MICROSECOND, Moment, moment, optional
from oracle_records import Certificate, Json, Row, Use, read_certificate

ISSUED_ONCE = ("issued", "superseded", "voided")


@dataclass(frozen=True)
class Stay:
    """A part in an assembly from `start` (inclusive) until `end` (exclusive, None: still)."""

    part: str
    assembly: str
    start: datetime
    end: datetime | None
    share: Fraction | None


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
        self.kinds = {item["id"]: item.get("kind") for item in record.get("items") or []}
        self.checks: list[Json] = record.get("checks") or []
        self.certificates = [
            read_certificate(entry, self.zone) for entry in record.get("calibrations") or []
        ]
        self.groups: dict[tuple[str, str], list[Certificate]] = {}
        for certificate in sorted(self.certificates, key=lambda c: c.revision):
            if certificate.status in ISSUED_ONCE:
                self.groups.setdefault(certificate.key[:2], []).append(certificate)
        self.stays = [self._stay(entry) for entry in record.get("composition") or []]

    def _stay(self, entry: Json) -> Stay:
        start, until = moment(entry["from"], self.zone).first, entry.get("until")
        end = None
        if until is not None:
            stop = moment(until, self.zone)
            # A bare last day is held for the whole of that day.
            end = stop.last + MICROSECOND if stop.date_only else stop.first
        return Stay(entry["part"], entry["assembly"], start, end, optional(entry.get("share")))

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

    def candidates(
        self,
        item: str,
        when: Moment,
        mode: str | None,
        any_kind: bool = False,
        as_if: Certificate | None = None,
    ) -> list[Certificate]:
        """Certificates that could give an item its value at a moment, the one in force last.

        `mode` is that of the using calibration; `any_kind` takes in those that assign nothing;
        `as_if` is an undated void to be taken as issued. A bare date of use counts as the end of
        its day.
        """
        found = []
        for group in self.groups.values():
            if all(revision.item != item for revision in group):
                continue
            current = standing(group, when.last, as_if)
            if current is None or current.item != item or not (any_kind or current.assigns):
                continue
            if mode is None or current.mode in (None, mode):
                found.append(current)
        return sorted(found, key=lambda c: (c.performed.first, c.revision, c.number))

    def latest(
        self, item: str, when: Moment, mode: str | None, any_kind: bool = False
    ) -> Certificate | None:
        """The certificate in force for an item at a moment."""
        found = self.candidates(item, when, mode, any_kind)
        return found[-1] if found else None

    def named(self, use: Use) -> Certificate:
        """The certificate a use names: that revision in any status, else the one then standing.

        Without a revision: the one standing at the use; if none stood, the highest issued one,
        else the highest of all.
        """
        known = [c for c in self.certificates if c.item == use.item and c.number == use.certificate]
        if use.revision is not None:
            known = [c for c in known if c.revision == use.revision]
        if not known:
            raise ValueError(f"a use names an unknown certificate {use.certificate}")
        groups = {c.key[:2] for c in known}
        stood = [standing(self.groups.get(key, []), use.when.last, None) for key in groups]
        if use.revision is None:
            issued = [c for c in known if c.status == "issued"]
            known = [c for c in stood if c is not None and c.item == use.item] or issued or known
        return max(known, key=lambda c: c.revision)


def starts(group: list[Certificate], place: int) -> datetime:
    """From when a revision serves: a later one from its issue, the first one from performing.

    One that was voided, and neither issued nor voided at a known instant, does not come before the
    revision that it follows, whose issue is known.
    """
    certificate = group[place]
    begin = certificate.performed.first
    if place > 0 and certificate.issued is not None:
        return max(certificate.issued.first, begin)
    if place > 0 and certificate.status == "voided" and certificate.voided is None:
        return max(starts(group, place - 1), begin)
    return begin


def standing(
    group: list[Certificate], at: datetime, as_if: Certificate | None
) -> Certificate | None:
    """The revision of one certificate that serves at an instant, None where none does.

    `group` holds the revisions that were ever issued, lowest first. A superseded one serves until
    the issue of a later one; once the last is voided, none comes back.
    """
    begun = [place for place in range(len(group)) if starts(group, place) <= at]
    if not begun:
        return None
    place = begun[-1]
    certificate = group[place]
    if certificate.status == "superseded":
        return certificate if place + 1 < len(group) else None
    if certificate.status == "voided":
        if certificate.voided is None:
            return certificate if certificate is as_if else None
        return certificate if at < certificate.voided.last else None
    return certificate


__all__ = ["Certificate", "Chain", "Json", "Laboratory", "Row", "Stay", "Use", "standing"]
