"""What hangs together in a planned set-up: the items named, and the parts that the assemblies hold.

Choice: the parts of an assembly are those recorded in it at the instant of the load, and stand
where the assembly stands. An item named twice is refused: it is in one place.

Not checked: that what is recorded is what hangs there; a person looks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, UnknownReference, pointer
from api.rules.units import parse_quantity, to_newton
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.records.requirement_choice import Subject, subject_of
from api.services.records.requirements import Taken, resolve, taken
from api.services.setups.setup_comparisons import MeasuredEffect, measured_effects
from api.store.chunks import chunks
from api.store.tables import Composition, Item
from graph.moments import Moment, moment, text_of


@dataclass(frozen=True, slots=True)
class Piece:
    """An item in the set-up, where it stands, and the fitting that it belongs to."""

    item: Item
    place: str | None = None
    fitting: str | None = None
    weight: Decimal = Decimal(1)

    @property
    def code(self) -> str:
        """The id of the item."""
        return self.item.code

    def stated(self, name: str) -> Any:
        """Return a property of the item, None if it has none of this name."""
        return (self.item.properties or {}).get(name)

    @property
    def is_pin(self) -> bool:
        """Whether it is a pin by its type."""
        return self.item.type == "pin"

    @property
    def is_shackle(self) -> bool:
        """Whether it is a shackle by its type, or has a shackle's size or style."""
        named = ("shackle_style", "shackle_size")
        return self.item.type == "shackle" or any(self.stated(name) for name in named)


@dataclass(frozen=True, slots=True)
class Setup:
    """A planned set-up as the records know it.

    `pieces` are the fittings and their parts; `highest` is the highest planned force as it was
    written, and in newton; `measured` is what the laboratory's own comparisons found for the type.
    """

    at: Moment
    at_text: str
    type: str | None
    capacity: str | None
    instrument: Piece | None
    machine: Piece | None
    references: Sequence[Piece]
    readouts: Sequence[Piece]
    pieces: Sequence[Piece]
    taken: Taken
    highest: tuple[str, Fraction] | None
    measured: Mapping[str, MeasuredEffect]
    request: Mapping[str, Any]

    @property
    def requirement(self) -> Record | None:
        """The requirement that counts for the instrument."""
        return self.taken.requirement

    @property
    def owner(self) -> str | None:
        """Whose instrument it is."""
        return None if self.instrument is None else self.instrument.item.owner

    @property
    def name(self) -> str:
        """What a sentence calls the instrument."""
        return self.instrument.code if self.instrument else f"a {self.type}"

    @property
    def required(self) -> Record:
        """What the requirement record asks; empty without one."""
        return self.requirement or {}

    @property
    def required_by(self) -> str:
        """What a finding names as the source of a requirement."""
        found = self.requirement
        return "" if found is None else f"requirement {found['id']} version {found['version']}"

    @property
    def everything(self) -> list[Piece]:
        """Every item of the set-up, once."""
        named = [self.instrument, self.machine]
        return [
            *(one for one in named if one is not None),
            *self.references,
            *self.readouts,
            *self.pieces,
        ]


def gather(session: Session, request: Record, now_us: int) -> Setup:
    """Look up what a request names, and the parts in it.

    Raises UnknownReference for an item or requirement that is not recorded, InvalidRecord for an
    item that stands in it twice.
    """
    items = _named(session, request)
    at_text = request.get("at") or text_of(now_us)
    at = moment(at_text, zone_of(session))
    own = items.get(request.get("instrument", ""))
    kind = request.get("type") if own is None else own.type
    capacity = request.get("capacity") if own is None else own.capacity
    if own is not None:
        subject = subject_of(own)
    else:
        subject = Subject(None, kind, capacity, request.get("make"), request.get("model"))
    points = request.get("planned_points", ())
    forces = [(text, to_newton(*parse_quantity(text))) for text in points]
    return Setup(
        at,
        at_text,
        kind,
        capacity,
        Piece(own) if own else None,
        Piece(items[request["machine"]]) if "machine" in request else None,
        [
            Piece(items[one["item"]], weight=one.get("weight", Decimal(1)))
            for one in request.get("references", ())
        ],
        [Piece(items[code]) for code in request.get("readouts", ())],
        _pieces(session, request.get("fittings", ()), items, at),
        _requirement(session, request, subject),
        max(forces, key=lambda one: one[1]) if forces else None,
        measured_effects(session, kind) if kind else {},
        request,
    )


def _requirement(session: Session, request: Record, subject: Subject) -> Taken:
    if "requirement" in request:
        version = request.get("requirement_version")
        return Taken(resolve(session, request["requirement"], version, "/requirement"), "named")
    return taken(session, subject, "/requirement")


def _places(request: Record) -> Iterable[tuple[str, str]]:
    """Every item that a request names, with the pointer to where."""
    for name in ("instrument", "machine"):
        if name in request:
            yield request[name], pointer(name)
    for name in ("references", "fittings"):
        for index, one in enumerate(request.get(name, ())):
            yield one["item"], pointer(name, index, "item")
    for index, code in enumerate(request.get("readouts", ())):
        yield code, pointer("readouts", index)


def _named(session: Session, request: Record) -> dict[str, Item]:
    places = list(_places(request))
    seen, twice = set[str](), []
    for code, place in places:
        if code in seen:
            twice.append(Issue(place, "named twice in the set-up", "name each item once", code))
        seen.add(code)
    if twice:
        raise InvalidRecord(f"{len(twice)} item(s) stand twice in the set-up", twice)
    found = {
        item.code: item
        for some in chunks(sorted(seen))
        for item in session.scalars(select(Item).where(Item.code.in_(some)))
    }
    unknown = [
        Issue(place, f'item "{code}" is not recorded', "record it first, or mend the id", code)
        for code, place in places
        if code not in found
    ]
    if unknown:
        raise UnknownReference(f"{len(unknown)} item(s) are not recorded", unknown)
    return found


def _pieces(
    session: Session, fittings: Sequence[Record], items: Mapping[str, Item], at: Moment
) -> list[Piece]:
    found: dict[int, Piece] = {}
    for fitting in fittings:
        item = items[fitting["item"]]
        found[item.id] = Piece(item, fitting.get("position"), item.code)
    frontier = list(found.values())
    while frontier:
        below = []
        held = _held(session, [one.item.id for one in frontier], at)
        for one in frontier:
            for part in held.get(one.item.id, ()):
                if part.id not in found:
                    found[part.id] = Piece(part, one.place, one.fitting)
                    below.append(found[part.id])
        frontier = below
    return list(found.values())


def _held(session: Session, assemblies: Sequence[int], at: Moment) -> dict[int, list[Item]]:
    found: dict[int, list[Item]] = {}
    for some in chunks(sorted(assemblies)):
        statement = (
            select(Composition.assembly_id, Item)
            .join(Item, Item.id == Composition.part_id)
            .where(
                Composition.assembly_id.in_(some),
                Composition.withdrawn.is_(False),
                Composition.from_us <= at.end_us,
                or_(Composition.until_us.is_(None), Composition.until_us > at.start_us),
            )
            .order_by(Item.code)
        )
        for assembly, part in session.execute(statement):
            found.setdefault(assembly, []).append(part)
    return found
