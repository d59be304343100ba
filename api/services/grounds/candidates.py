"""Certificates in question with all that their uses rested on, read once for every question.

They are read as recorded, in the open transaction, some at a time: the same way serves one
certificate that is to be issued and the lots of an import.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from operator import attrgetter
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.casework.isolation import Reported, reported
from api.services.recalls.reading import Traced
from api.services.recalls.reading_results import Measured, Statement
from api.store.keyed import rows_of
from api.store.reading import Remembering, SessionReader
from api.store.sources import Recorded
from graph.model import BY_SHARE, ONE, Calibration, Held, Point, Use

ISSUED, VOIDED = "issued", "voided"
# Whose value the stated forces come from.
REFERENCE, READOUT, READOUT_DUT = "force_reference", "readout_reference", "readout_dut"


class Piece(NamedTuple):
    """An item that was used or held; `exempt` if its record says why it needs no calibration."""

    key: int
    code: str
    kind: str
    exempt: bool
    design_life: int | None


class Standing(NamedTuple):
    """A certificate of a used item that was ever issued, as far as it is asked about here."""

    key: int
    item_key: int
    number: str
    revision: int
    status: str
    performed_us: int
    mode: str | None
    assigns_value: bool
    voided_us: int | None
    due_at: str | None
    due_us: int | None
    span_from: str | None
    span_to: str | None

    def suits(self, mode: str | None) -> bool:
        """Whether it serves users of a mode."""
        return self.mode is None or mode is None or self.mode == mode

    @property
    def span(self) -> tuple[Fraction, Fraction] | None:
        """Smallest and largest size of the forces that it calibrated, in newton."""
        if self.span_from is None or self.span_to is None:
            return None
        low, high = Fraction(self.span_from), Fraction(self.span_to)
        sizes = sorted((abs(low), abs(high)))
        # Pull and push in one certificate: nothing is known of the gap between them.
        return (Fraction(0) if low < 0 < high else sizes[0]), sizes[1]


class Carrier(NamedTuple):
    """What gave the value of a use: an item, its share of the force, its certificate in force."""

    item: str
    share: Fraction | None
    certificate: Standing


class Used(NamedTuple):
    """One use of a certificate in question."""

    certificate: Calibration
    use: Use
    named: bool
    override: Record | None


@dataclass(frozen=True)
class Candidates:
    """Certificates by key; `as_of` says for each the instant at which it is asked about.

    `issued` says for each when it is issued, or taken to be.
    """

    session: Session
    as_of: Mapping[int, int]
    issued: Mapping[int, int]

    @cached_property
    def reader(self) -> Remembering:
        """Reads in the transaction of the session; nothing is written while questions are asked."""
        return Remembering(SessionReader(self.session))

    @cached_property
    def recalls(self) -> list[Reported]:
        """What every stored recall was asked."""
        return reported(self.session)

    @cached_property
    def traced(self) -> Traced:
        """The certificates, and those above them as they are asked for."""
        traced = Traced(Recorded(self.reader))
        traced.read(self.as_of.keys())
        return traced

    @cached_property
    def measured(self) -> dict[int, tuple[Calibration, tuple[Statement, ...]]]:
        """The certificates with their points, and what each point was judged by."""
        return self.results_of(self.as_of.keys())

    def results_of(
        self, keys: Collection[int]
    ) -> dict[int, tuple[Calibration, tuple[Statement, ...]]]:
        """Read certificates with their points."""
        self.traced.read(keys)
        order = sorted(keys)
        found = Measured(self.traced).in_order(order, set(order))
        return {one.key: (one, tuple(stated)) for one, stated in found}

    @cached_property
    def uses(self) -> list[Used]:
        """Every use, in the order of the records."""
        columns = ", ".join(
            f'usage."{name}"'
            for name in ("certificate_id", "position", "named_certificate", "override")
        )
        rows: dict[int, list[tuple[Any, ...]]] = {}
        for row in rows_of(self.reader, columns, "usage", "certificate_id", list(self.as_of)):
            rows.setdefault(row[0], []).append(row)
        return [
            Used(one, use, named is not None, None if override is None else json.loads(override))
            for key in sorted(self.as_of)
            for one in [self.traced.calibrations[key]]
            for use, (_, _, named, override) in zip(
                one.uses, sorted(rows.get(key, ()), key=lambda row: row[1]), strict=True
            )
        ]

    @cached_property
    def pieces(self) -> dict[str, Piece]:
        """Items that were used, and the parts that they held then, by id."""
        codes = {one.use.item for one in self.uses}
        codes.update(held.part for one in self.uses for held in one.use.held)
        names = ("id", "code", "kind", "properties", "design_life_cycles")
        columns = ", ".join(f"item.{name}" for name in names)
        return {
            code: Piece(key, code, kind, _exempt(properties), life)
            for key, code, kind, properties, life in rows_of(
                self.reader, columns, "item", "code", sorted(codes)
            )
        }

    @cached_property
    def standings(self) -> dict[str, list[Standing]]:
        """Certificates of these items that were ever issued, the latest first."""
        names = (
            "id",
            "item_id",
            *Standing._fields[2:],
        )
        columns = ", ".join(f"certificate.{name}" for name in names)
        codes = {one.key: one.code for one in self.pieces.values()}
        also = "WHERE certificate.status <> 'draft' AND NOT certificate.never_issued"
        found: dict[str, list[Standing]] = {code: [] for code in self.pieces}
        for row in rows_of(self.reader, columns, "certificate", "item_id", list(codes), also):
            one = Standing._make(row)
            found[codes[one.item_key]].append(one)
        for some in found.values():
            some.sort(key=attrgetter("performed_us", "revision", "number"), reverse=True)
        return found

    @cached_property
    def by_key(self) -> dict[int, Standing]:
        """The same certificates by key."""
        return {one.key: one for some in self.standings.values() for one in some}

    def carriers(self, use: Use) -> Iterator[Carrier]:
        """Yield what gave the value of a use: the item itself, else its measuring parts."""
        if use.source is not None:
            own = self.by_key.get(use.source)
            if own is not None:  # a draft may be named
                yield Carrier(use.item, ONE, own)
            return
        for held in use.held:
            if held.bearing == BY_SHARE and held.source is not None:
                yield Carrier(held.part, held.share, self.by_key[held.source])


def measuring_alone(use: Use) -> list[Held]:
    """Return the parts by which an assembly measures, an inner one by those that it holds."""
    by_share = [held for held in use.held if held.bearing == BY_SHARE]
    # What holds a measuring part passes on the value of that one, unless it has one of its own.
    holders = {held.chain[1:] for held in by_share}
    return [held for held in by_share if held.source is not None or held.chain not in holders]


def forces(one: Carrier, use: Use, points: Collection[Point]) -> Iterator[tuple[Point, Fraction]]:
    """Yield the points at which a carrier bore a force, with its size in newton."""
    if one.share is None:
        return
    for point in points:
        whole = point.force_n
        if whole:
            force = abs(use.weight_at(point.key) * one.share * whole)
            if force:
                yield point, force


def _exempt(properties: str | None) -> bool:
    stated = None if properties is None else json.loads(properties)
    return isinstance(stated, dict) and "calibration" in stated
