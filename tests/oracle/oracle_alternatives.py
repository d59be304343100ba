"""On which other certificate may a place of a use rest, though the records say another one?

DESIGN section 10, `cannot_be_excluded`. Only what may stand in place of the value in force is said
here; whether it would matter is asked by `oracle_doubts` of a fault, and by `oracle_independence`
of a check.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from oracle_holding import Node, node, sources
from oracle_laboratory import Laboratory
from oracle_numbers import Moment
from oracle_records import Certificate, Use

ONE = Fraction(1)
Names = tuple[str, ...]


@dataclass(frozen=True)
class Slot:
    """A place at which a use rests on a value: the used item itself, or a part of it.

    `shield` is the newest own value of an assembly around it: only what is newer than that counts.
    """

    node: Node
    names: Names
    scale: Fraction | None
    shield: Certificate | None

    def lets_in(self, certificate: Certificate) -> bool:
        """True if the assembly's own value does not shield this certificate."""
        shield = self.shield
        return shield is None or certificate.performed.first > shield.performed.first


@dataclass(frozen=True)
class Asked:
    """What a use or a check asks of an item: when, in which mode, at which forces in newtons."""

    when: Moment
    mode: str | None
    forces: tuple[Fraction, ...]


def asked_by(certificate: Certificate, use: Use) -> Asked:
    """What a use of a certificate asks; forces where it bears none, or no record, are left out."""
    forces = [
        row.force
        for row in certificate.rows
        if row.force is not None and row.force != 0 and use.weight_at(row) != 0
    ]
    return Asked(use.when, certificate.mode, tuple(forces))


def slots(
    tree: Node,
    without: str | None,
    outer: Names = (),
    scale: Fraction | None = ONE,
    shield: Certificate | None = None,
) -> Iterator[Slot]:
    """The used item and everything in it that has a value, save the item `without`."""
    if tree.item == without:
        return
    yield Slot(tree, (tree.item, *outer), scale, shield)
    if tree.own is not None and (
        shield is None or tree.own.performed.first > shield.performed.first
    ):
        shield = tree.own
    for place, part in enumerate(tree.parts):
        share = tree.share_of(place, False) if place < len(tree.measuring) else ONE
        inner = None if share is None or scale is None else share * scale
        yield from slots(part, without, (tree.item, *outer), inner, shield)


def other_values(lab: Laboratory, asked: Asked, slot: Slot) -> Iterator[tuple[str, Certificate]]:
    """Every other certificate on which a place may rest, with the reason for the doubt."""
    item, mode, own = slot.node.item, asked.mode, slot.node.own
    if slot.node.named:
        return
    for void in lab.certificates:
        if void.item == item and void.status == "voided" and void.voided is None:
            were = lab.candidates(item, asked.when, mode, as_if=void)
            if were and were[-1] is void:
                yield "undated_void", void
    if mode is not None and own is None:
        latest = lab.latest(item, asked.when, None)
        if latest is not None:
            yield "other_mode_only", latest
    if own is None or own.span is None:
        return
    earlier = lab.candidates(item, asked.when, mode)[:-1]
    for force in asked.forces:
        if slot.scale is None:
            for found in perhaps_reaching_further(own, earlier, force):
                yield "may_be_outside_range", found
        elif slot.scale != 0 and not inside(force * slot.scale, own):
            over = [found for found in earlier if inside(force * slot.scale, found)]
            if over:
                yield "outside_range", over[-1]


def perhaps_reaching_further(
    own: Certificate, earlier: list[Certificate], whole: Fraction
) -> Iterator[Certificate]:
    """The latest earlier certificate over a force outside the own one, where no share is told.

    A part may bear any of the force, but not nothing. Which certificate holds a force changes at
    the ends of spans only, so that it takes one force at each of them and one between any two to
    have tried all.
    """
    ends = [end for found in (own, *earlier) if found.span is not None for end in found.span]
    low, high = min(whole, Fraction(0)), max(whole, Fraction(0))
    marks = sorted({low, high, *(end for end in ends if low <= end <= high)})
    tried = [*marks, *((one + other) / 2 for one, other in pairwise(marks))]
    for force in tried:
        over = [found for found in earlier if inside(force, found)]
        if force != 0 and over and not inside(force, own):
            yield over[-1]


def in_other_modes(
    lab: Laboratory, tree: Node, asked: Asked
) -> Iterator[tuple[Certificate, Names]]:
    """On what a use would rest, had it one mode or the other, and does not now.

    The whole of the used item is asked again: in another mode an assembly may have no value of
    its own, and rest on those of its parts.
    """
    if asked.mode is not None or tree.named:
        return
    now = {(source.key, names) for source, names, _ in sources(tree)}
    for mode in ("tension", "compression"):
        other = node(lab, tree.item, asked.when, mode)
        for source, names, _ in sources(other):
            if (source.key, names) not in now:
                yield source, names


def inside(force: Fraction, certificate: Certificate) -> bool:
    """True if a force lies within the calibrated span, its ends included."""
    span = certificate.span
    return span is not None and span[0] <= force <= span[1]
