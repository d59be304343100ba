"""What is on the shelf for a required pin or shackle? The best choice first.

Every item of that type is looked at, whoever owns it: the customer's own part comes first. What may
not be used stands last with the reasons: isolated, an open event, a failed inspection, past its
life, rated below the highest planned force.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.rules.fitting.choice import Candidate, Choice, Wanted, ranked
from api.rules.fitting.lengths import parse_length
from api.rules.fitting.life import PAST, WARN
from api.services.base.record import Record
from api.services.casework.isolation import isolated_items
from api.services.life.cycles import Tally, tallies
from api.services.records.items import newtons, rated_capacity
from api.services.setups.findings import in_mm, length_of, off_by, tolerances
from api.services.setups.histories import checks_until, events_open
from api.services.setups.pins import PIN_SLOTS
from api.services.setups.setups import Piece, Setup
from api.store.tables import Item

MOST = 20


def shelf(session: Session, setup: Setup) -> list[Record]:
    """Return the ranked choice for every pin and shackle that the requirement names."""
    slots = [name for name in (*PIN_SLOTS, "shackle") if name in setup.required]
    if not slots:
        return []
    kinds = {"pin" if slot in PIN_SLOTS else "shackle" for slot in slots}
    items = list(session.scalars(select(Item).where(Item.type.in_(sorted(kinds)))))
    pieces = [Piece(item) for item in items]
    known = _Known(session, setup, items)
    return [_slot(setup, slot, pieces, known) for slot in slots]


class _Known:
    """What is recorded against the parts on the shelf, read once for all of them."""

    def __init__(self, session: Session, setup: Setup, items: Sequence[Item]) -> None:
        at_us = setup.at.end_us
        self.setup = setup
        self.counts: Mapping[int, Tally] = tallies(session, items, at_us)
        self.events = events_open(session, items, at_us)
        self.checks = checks_until(session, [item.id for item in items], at_us)
        self.isolated = isolated_items(session)

    def reasons(self, one: Piece) -> Iterator[str]:
        """Why a part may not be used."""
        for isolation in self.isolated.get(one.code, ()):
            if isolation.forbids(self.setup.at, None):
                yield f"isolated by recall {isolation.recall}"
        for event in self.events.get(one.item.id, ()):
            yield f"not inspected since event {event.code}"
        checks = self.checks.get(one.item.id)
        if checks and checks[-1].result == "fail":
            yield f"failed check {checks[-1].code}"
        tally = self.counts[one.item.id]
        if tally.state == PAST:
            yield f"past its life: {tally.used} of {tally.item.design_life_cycles} load cycles"
        strength = newtons(rated_capacity(one.item))
        if self.setup.highest and strength is not None and strength < self.setup.highest[1]:
            yield f"rated {rated_capacity(one.item)}, below the planned {self.setup.highest[0]}"

    def warnings(self, one: Piece) -> Iterator[str]:
        """What is to be known of a part that may be used."""
        tally = self.counts[one.item.id]
        if tally.state == WARN:
            yield f"{tally.used} of {tally.item.design_life_cycles} load cycles are used"
        if tally.state is None:
            yield "its design life is not recorded"
        if self.setup.highest and newtons(rated_capacity(one.item)) is None:
            yield "its rated capacity is not recorded"


def _slot(setup: Setup, slot: str, pieces: Sequence[Piece], known: _Known) -> Record:
    required = setup.required[slot]
    pin = slot in PIN_SLOTS
    kind, size_name = ("pin", "diameter") if pin else ("shackle", "size")
    size = parse_length(required[size_name]).mm if size_name in required else None
    plus, minus = tolerances(required)
    wanted = Wanted(size, required.get("style"), plus, minus, setup.owner)
    on_shelf = {one.code: one for one in pieces if one.item.type == kind}
    choices = ranked(wanted, (_candidate(one, kind, known) for one in on_shelf.values()))
    return {
        "required_for": slot,
        "required": required,
        "choices": [_shown(one, on_shelf[one.candidate.item], known) for one in choices[:MOST]],
        "left_off": max(0, len(choices) - MOST),
    }


def _candidate(one: Piece, kind: str, known: _Known) -> Candidate:
    length, _ = length_of(one.stated(_SIZES[kind]))
    style = one.stated("shackle_style")
    return Candidate(
        one.code,
        None if length is None else length.mm,
        style if isinstance(style, str) else None,
        one.item.owner,
        tuple(known.reasons(one)),
    )


_SIZES = {"pin": "pin_diameter", "shackle": "shackle_size"}


def _shown(one: Choice, piece: Piece, known: _Known) -> Record:
    length, unreadable = length_of(piece.stated(_SIZES[piece.item.type or ""]))
    warnings = list(known.warnings(piece))
    if one.fit is not None and not one.fit.agrees:
        warnings.insert(0, f"{off_by(one.fit, 'mm')['absolute']} off the required size")
    elif length is None:
        warnings.insert(0, unreadable or "its size is not recorded")
    if not one.style_agrees:
        warnings.append(f"its style is {one.candidate.style or 'not recorded'}")
    shown: Record = {"item": piece.code, "choice": one.choice, "warnings": warnings}
    if piece.item.owner is not None:
        shown["owner"] = piece.item.owner
    if length is not None:
        shown["found"] = in_mm(length)
    if one.fit is not None:
        shown["off_by"] = off_by(one.fit, "mm")
    if one.candidate.barred:
        shown["reasons"] = list(one.candidate.barred)
    return shown
