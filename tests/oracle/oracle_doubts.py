"""Who may rest on one fault though the records do not say so?

DESIGN section 10, `cannot_be_excluded`: each use is asked again with another certificate in place
of the one in force, and each calibration that names nothing in the roles of the faulty item.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction

from oracle_alternatives import (
    Asked,
    Slot,
    asked_by,
    in_other_modes,
    other_values,
    slots,
)
from oracle_one_fault import OneFault, Path
from oracle_records import Certificate, Use
from oracle_unnamed import names_nothing, roles_of_fault

REASONS = (
    "no_use_in_role",
    "undated_void",
    "mode_not_recorded",
    "other_mode_only",
    "outside_range",
    "may_be_outside_range",
    "rests_on_doubt",
)


@dataclass
class Doubt:
    """Reasons why a certificate cannot be excluded, and the paths that would hold."""

    reasons: set[str] = field(default_factory=set)
    paths: set[Path] = field(default_factory=set)


class Doubts:
    """The doubts under one fault; `of` gives those of any certificate of the file."""

    def __init__(self, walk: OneFault) -> None:
        self.walk = walk
        self.memo: dict[tuple[str, str, int], Doubt] = {}
        self.roles = roles_of_fault(walk.lab, walk.fault, walk.item)

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
            tree, asked = self.walk.node(certificate, place), asked_by(certificate, use)
            faulty = self.walk.scope(certificate, use, tree) == "faulty" and not self.walk.wrong
            first_hand = self.walk.item if faulty else None
            found = [
                (reason, source, slot.names)
                for slot in slots(tree, first_hand)
                for reason, source in self.instead(asked, slot)
                if slot.lets_in(source)
            ]
            for source, names in in_other_modes(self.walk.lab, tree, asked):
                if first_hand not in names:
                    found.append(("mode_not_recorded", source, names))
            for reason, source, names in found:
                paths = self.paths_of(certificate, use, source)
                if paths:
                    doubt.reasons.add(reason)
                    doubt.paths |= {(*p, *names, certificate.number) for p in paths}
        return doubt

    def instead(self, asked: Asked, slot: Slot) -> Iterator[tuple[str, Certificate]]:
        """Every certificate of doubt on which a place may rest, with the reason for the doubt."""
        own = slot.node.own
        if own is not None and self.listed_as_doubt(own):
            yield "rests_on_doubt", own
        yield from other_values(self.walk.lab, asked, slot)

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
        walk = self.walk
        if walk.wrong:
            return False  # a faulty certificate has no role; who rests on it says so by its date
        if not walk.window.holds(certificate.performed):
            return False
        return names_nothing(certificate, walk.fault, walk.item, self.roles)
