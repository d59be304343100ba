"""Who may rest on one fault though the records do not say so?

DESIGN section 10, `cannot_be_excluded`: each use is asked again with another certificate in place
of the one in force, and each calibration that names nothing in the roles of the faulty item.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from oracle_holding import Node, node, sources
from oracle_one_fault import OneFault, Path
from oracle_records import Certificate, Row, Use

REASONS = (
    "no_use_in_role",
    "undated_void",
    "mode_not_recorded",
    "other_mode_only",
    "outside_range",
    "may_be_outside_range",
    "rests_on_doubt",
)


# Roles in which an item of a kind usually serves, asked for where the records name it nowhere.
USUAL_ROLES = {
    "adapter": ("adapter",),
    "adapter_part": ("adapter",),
    "readout": ("readout_reference", "readout_dut"),
    "environment_monitor": ("environment",),
    "software": ("software",),
}


@dataclass
class Doubt:
    """Reasons why a certificate cannot be excluded, and the paths that would hold."""

    reasons: set[str] = field(default_factory=set)
    paths: set[Path] = field(default_factory=set)


@dataclass(frozen=True)
class Slot:
    """A place at which a use rests on a value: the used item itself, or a part of it.

    `shield` is the newest own value of an assembly around it: only what is newer than that counts.
    """

    node: Node
    names: Path
    scale: Fraction | None
    shield: Certificate | None

    def lets_in(self, certificate: Certificate) -> bool:
        """True if the assembly's own value does not shield this certificate."""
        shield = self.shield
        return shield is None or certificate.performed.first > shield.performed.first


class Doubts:
    """The doubts under one fault; `of` gives those of any certificate of the file."""

    def __init__(self, walk: OneFault) -> None:
        self.walk = walk
        self.memo: dict[tuple[str, str, int], Doubt] = {}
        self.roles = self.roles_of_fault()

    def of(self, certificate: Certificate) -> Doubt:
        """Reasons and paths; none of either for a certificate that can be excluded."""
        if certificate.key not in self.memo:
            self.memo[certificate.key] = self.judge(certificate)
        return self.memo[certificate.key]

    def listed_as_doubt(self, certificate: Certificate) -> bool:
        """True if the certificate stands, or would stand were it issued, in this list."""
        return self.walk.find(certificate).kind is None and bool(self.of(certificate).reasons)

    def judge(self, certificate: Certificate) -> Doubt:
        """Ask every use of the certificate again."""
        doubt = Doubt()
        if self.names_nothing(certificate):
            doubt.reasons.add("no_use_in_role")
            doubt.paths.add((*self.head(), certificate.number))
        for place, use in enumerate(certificate.uses):
            tree = self.walk.node(certificate, place)
            faulty = self.walk.scope(certificate, use, tree) == "faulty"
            for slot in self.slots(tree, faulty, (), Fraction(1), None):
                for reason, source in self.instead(certificate, use, slot):
                    found = self.paths_of(certificate, use, source)
                    if found and slot.lets_in(source):
                        doubt.reasons.add(reason)
                        doubt.paths |= {(*p, *slot.names, certificate.number) for p in found}
            for source, names in self.in_other_modes(certificate, use, tree, faulty):
                found = self.paths_of(certificate, use, source)
                if found:
                    doubt.reasons.add("mode_not_recorded")
                    doubt.paths |= {(*p, *names, certificate.number) for p in found}
        return doubt

    def in_other_modes(
        self, certificate: Certificate, use: Use, tree: Node, faulty: bool
    ) -> Iterator[tuple[Certificate, Path]]:
        """On what a use would rest, had its calibration one mode or the other, and does not now.

        The whole of the used item is asked again: in another mode an assembly may have no value of
        its own, and rest on those of its parts.
        """
        if certificate.mode is not None or use.certificate is not None:
            return
        now = {(source.key, names) for source, names, _ in sources(tree)}
        for mode in ("tension", "compression"):
            other = node(self.walk.lab, use.item, use.when, mode)
            for source, names, _ in sources(other):
                taken = faulty and self.walk.item in names and not self.walk.wrong
                if (source.key, names) not in now and not taken:
                    yield source, names

    def slots(
        self,
        tree: Node,
        faulty: bool,
        outer: Path,
        scale: Fraction | None,
        shield: Certificate | None,
    ) -> Iterator[Slot]:
        """The used item and everything in it that has a value, save the faulty item itself."""
        if faulty and tree.item == self.walk.item and not self.walk.wrong:
            return
        yield Slot(tree, (tree.item, *outer), scale, shield)
        if tree.own is not None and (
            shield is None or tree.own.performed.first > shield.performed.first
        ):
            shield = tree.own
        for place, part in enumerate(tree.parts):
            share = tree.share_of(place, False) if place < len(tree.measuring) else Fraction(1)
            inner = None if share is None or scale is None else share * scale
            yield from self.slots(part, faulty, (tree.item, *outer), inner, shield)

    def instead(
        self, certificate: Certificate, use: Use, slot: Slot
    ) -> Iterator[tuple[str, Certificate]]:
        """Every other certificate on which a place may rest, with the reason for the doubt."""
        lab, item, mode, own = self.walk.lab, slot.node.item, certificate.mode, slot.node.own
        if own is not None and self.listed_as_doubt(own):
            yield "rests_on_doubt", own
        if slot.node.named:
            return
        for void in lab.certificates:
            if void.item == item and void.status == "voided" and void.voided is None:
                were = lab.candidates(item, use.when, mode, as_if=void)
                if were and were[-1] is void:
                    yield "undated_void", void
        if mode is not None and own is None:
            latest = lab.latest(item, use.when, None)
            if latest is not None:
                yield "other_mode_only", latest
        if slot.scale is None:
            for earlier in self.perhaps_reaching_further(certificate, use, slot):
                yield "may_be_outside_range", earlier
        for earlier in self.reaching_further(certificate, use, slot):
            yield "outside_range", earlier

    def reaching_further(
        self, certificate: Certificate, use: Use, slot: Slot
    ) -> Iterator[Certificate]:
        """For each point outside the span of the value in force, the latest earlier one over it."""
        if slot.node.own is None or slot.node.own.span is None or slot.scale is None:
            return
        earlier = self.walk.lab.candidates(slot.node.item, use.when, certificate.mode)[:-1]
        for row in certificate.rows:
            force = borne(use, row, slot.scale)
            if force is None or inside(force, slot.node.own):
                continue
            over = [found for found in earlier if inside(force, found)]
            if over:
                yield over[-1]

    def perhaps_reaching_further(
        self, certificate: Certificate, use: Use, slot: Slot
    ) -> Iterator[Certificate]:
        """The same where no share is told: a part may bear any of the force, but not nothing.

        Which certificate holds a force changes at the ends of spans only, so that it takes one
        force at each of them and one between any two to have tried all.
        """
        own = slot.node.own
        if own is None or own.span is None:
            return
        earlier = self.walk.lab.candidates(slot.node.item, use.when, certificate.mode)[:-1]
        ends = [end for found in (own, *earlier) if found.span is not None for end in found.span]
        for row in certificate.rows:
            whole = borne(use, row, Fraction(1))
            if whole is None:
                continue
            low, high = min(whole, Fraction(0)), max(whole, Fraction(0))
            marks = sorted({low, high, *(end for end in ends if low <= end <= high)})
            tried = [*marks, *((one + other) / 2 for one, other in pairwise(marks))]
            for force in tried:
                over = [found for found in earlier if inside(force, found)]
                if force != 0 and over and not inside(force, own):
                    yield over[-1]

    def paths_of(self, certificate: Certificate, use: Use, source: Certificate) -> set[Path]:
        """Paths down to a certificate that would list its users; none if it would not."""
        walk = self.walk
        if source in walk.wrong:
            limit = walk.limits(certificate, use, [Fraction(1)])
            return {(source.number,)} if limit == "faulty" else set()
        if walk.is_source(source, False):
            return walk.find(source).paths
        return self.of(source).paths if self.listed_as_doubt(source) else set()

    def head(self) -> Path:
        """Where the path of an unnamed use would start."""
        walk = self.walk
        if walk.wrong:
            return (walk.wrong[0].number, walk.item)
        channel = walk.effects.channel
        return (walk.item if channel is None else f"{walk.item}:{channel}",)

    def names_nothing(self, certificate: Certificate) -> bool:
        """True if the record, in the window, names nothing in any role of the faulty item."""
        walk, effects = self.walk, self.walk.effects
        if certificate.item == walk.item or not walk.window.holds(certificate.performed):
            return False
        if walk.wrong:
            return False  # a faulty certificate has no role; who rests on it says so by its date
        if certificate.external:
            return False  # another laboratory's calibration did not use what is ours
        if effects.mode is not None and certificate.mode not in (None, effects.mode):
            return False
        ways = effects.directions
        rows = certificate.rows
        if ways is not None and rows and all(r.direction not in (None, *ways) for r in rows):
            return False
        if not self.roles:
            return False
        return not any(use.role in self.roles for use in certificate.uses)

    def roles_of_fault(self) -> set[str]:
        """Roles in which the records name the faulty item, or an assembly that then held it."""
        walk, found = self.walk, set()
        for certificate in walk.lab.certificates:
            for place, use in enumerate(certificate.uses):
                if walk.effects.channel not in (None, use.channel) and use.channel is not None:
                    continue
                tree = walk.node(certificate, place)
                if use.role and any(node.item == walk.item for node, *_ in tree.places()):
                    found.add(use.role)
        if not found:
            found = set(self.usual_roles())
        only = walk.effects.roles
        return found if only is None else found & set(only)

    def usual_roles(self) -> tuple[str, ...]:
        """Roles of the kind of an item that no record names."""
        kind = self.walk.lab.kinds.get(self.walk.item)
        return USUAL_ROLES.get(kind or "", ("force_reference",))


def borne(use: Use, row: Row, scale: Fraction) -> Fraction | None:
    """Force that a place bears at a point; None where it bears none or it is not recorded."""
    if row.force is None or use.weight_at(row) == 0 or row.force * scale == 0:
        return None
    return row.force * scale


def inside(force: Fraction, certificate: Certificate) -> bool:
    """True if a force lies within the calibrated span, its ends included."""
    span = certificate.span
    return span is not None and span[0] <= force <= span[1]
