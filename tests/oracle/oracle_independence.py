"""Was a check made against something that rests, or may rest, on the faulty item?

DESIGN section 9: "Not independent: it was made against an item that itself rests on the faulty
one." Section 10: a recall that misses one certificate is worse than none, and doubt is passed on
like a value: a standard of which it cannot be excluded that it rests on the faulty item is evidence
of nothing. Whether it rests so is asked whatever the fault's window; only a calibration that names
nothing in a role is in doubt by its instant alone, and so only inside the window that the fault
states, as that reason has it. A check that gives no points says no forces, so that nothing is
outside a range at the check itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction

from oracle_alternatives import Asked, asked_by, in_other_modes, other_values, slots
from oracle_holding import Node, node, use_node
from oracle_laboratory import Laboratory
from oracle_numbers import Moment
from oracle_records import Certificate, Json
from oracle_unnamed import names_nothing, roles_of_fault


class Independence:
    """What rests, or may rest, on the faulty item; `holds` is the fault's own window."""

    def __init__(self, lab: Laboratory, fault: Json, holds: Callable[[Moment], bool]) -> None:
        self.lab, self.fault, self.holds = lab, fault, holds
        self.item: str = fault["item"]
        self.roles = roles_of_fault(lab, fault, self.item)
        self.memo: dict[tuple[str, str, int], bool] = {}

    def lost(self, item: str, when: Moment, mode: str | None, forces: list[Fraction]) -> bool:
        """True if a check against this item, then, in this mode, at these forces, is not."""
        tree = node(self.lab, item, when, mode)
        if any(found.item == self.item for found, *_ in tree.places()):
            return True
        asked = Asked(when, mode, tuple(force for force in forces if force != 0))
        return any(self.rests(source) for source in self.values(tree, asked))

    def rests(self, certificate: Certificate) -> bool:
        """True if the certificate rests, or may rest, on the faulty item."""
        if certificate.key not in self.memo:
            self.memo[certificate.key] = self.judge(certificate)
        return self.memo[certificate.key]

    def judge(self, certificate: Certificate) -> bool:
        """Ask every use of the certificate, and what it names nothing of."""
        unnamed = names_nothing(certificate, self.fault, self.item, self.roles)
        if unnamed and self.holds(certificate.performed):
            return True
        for use in certificate.uses:
            tree = use_node(self.lab, certificate, use)
            channel = self.fault.get("channel")
            other_channel = channel is not None and use.channel not in (None, str(channel))
            direct = any(found.item == self.item for found, *_ in tree.places())
            if direct and not other_channel:
                return True
            asked = asked_by(certificate, use)
            if any(self.rests(source) for source in self.values(tree, asked)):
                return True
        return False

    def values(self, tree: Node, asked: Asked) -> Iterator[Certificate]:
        """Every certificate on which an item rests or, in doubt, may rest."""
        yield from values_of(tree)
        for slot in slots(tree, None):
            for _, source in other_values(self.lab, asked, slot):
                if slot.lets_in(source):
                    yield source
        for source, _ in in_other_modes(self.lab, tree, asked):
            yield source


def values_of(tree: Node) -> list[Certificate]:
    """The own value of an item, and those of its parts that the own one does not shield."""
    own = tree.own
    below = [source for part in tree.parts for source in values_of(part)]
    if own is None:
        return below
    return [own, *(s for s in below if s.performed.first > own.performed.first)]
