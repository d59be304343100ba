"""What did a used item consist of at the use, and which value did each piece of it have?

DESIGN section 10, "Compound items". A node is one item with its own value in force, if any, and
the nodes of the parts that it then held.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from oracle_laboratory import Laboratory, Stay
from oracle_numbers import MICROSECOND, Moment
from oracle_records import Certificate, Use

MEASURING = (
    "reference_standard",
    "working_standard",
    "force_machine",
    "deadweight_machine",
    "customer_instrument",
)
ONE = Fraction(1)


@dataclass(frozen=True)
class Node:
    """An item at a use. `shown` is its latest calibration, of those that assign nothing too.

    `shares` of the measuring parts: None where they cannot be told.
    """

    item: str
    own: Certificate | None
    shown: Certificate | None
    named: bool
    measuring: tuple[Node, ...]
    others: tuple[Node, ...]
    shares: tuple[Fraction, ...] | None

    @property
    def parts(self) -> tuple[Node, ...]:
        """All parts held."""
        return self.measuring + self.others

    @property
    def valued(self) -> bool:
        """True if the item has a value in force, its own or that of all its measuring parts."""
        return self.own is not None or (
            bool(self.measuring) and all(part.valued for part in self.measuring)
        )

    def share_of(self, place: int, of_fault: bool) -> Fraction | None:
        """Share of a measuring part; a fault of the only one counts whole."""
        if of_fault and len(self.measuring) == 1:
            return ONE
        return None if self.shares is None else self.shares[place]

    def places(
        self, scale: Fraction | None = ONE, of_fault: bool = False
    ) -> Iterator[tuple[Node, tuple[str, ...], Fraction | None]]:
        """This node and all within it: node, items from it up to this one, share of the force."""
        yield self, (self.item,), scale
        for place, part in enumerate(self.measuring):
            share = self.share_of(place, of_fault)
            inner = None if share is None or scale is None else share * scale
            for node, names, found in part.places(inner, of_fault):
                yield node, (*names, self.item), found
        for part in self.others:
            for node, names, found in part.places(scale, of_fault):
                yield node, (*names, self.item), found


def held(
    lab: Laboratory, assembly: str, first: datetime, last: datetime
) -> list[tuple[Stay, datetime, datetime]]:
    """Parts held at any instant of a span, each once, with the span in which it was held."""
    found: dict[str, tuple[Stay, datetime, datetime]] = {}
    for stay in lab.stays:
        if stay.assembly != assembly or stay.start > last:
            continue
        if stay.end is not None and stay.end <= first:
            continue
        until = last if stay.end is None else min(last, stay.end - MICROSECOND)
        found.setdefault(stay.part, (stay, max(first, stay.start), until))
    return [found[part] for part in sorted(found)]


def told(stays: list[Stay], nodes: list[Node]) -> tuple[Fraction, ...] | None:
    """Shares of the measuring parts: all given and summing to 1, or equal if all have a value."""
    given = [stay.share for stay in stays]
    known = tuple(share for share in given if share is not None)
    if len(known) == len(given):
        return known if sum(known) == 1 else None
    if known or not all(node.valued for node in nodes):
        return None
    return tuple(Fraction(1, len(nodes)) for _ in nodes)


def node(
    lab: Laboratory,
    item: str,
    when: Moment,
    mode: str | None,
    use: Use | None = None,
    span: tuple[datetime, datetime] | None = None,
) -> Node:
    """The node of an item at a moment, for a calibration of this mode; `use` may name the value."""
    first, last = span if span is not None else (when.first, when.last)
    naming = use is not None and use.certificate is not None
    if use is not None and naming:
        shown: Certificate | None = lab.named(use)
        own = shown if shown is not None and shown.assigns else None
    else:
        own = lab.latest(item, when, mode)
        shown = lab.latest(item, when, mode, any_kind=True)
    measuring, stays, others = [], [], []
    for stay, start, end in held(lab, item, first, last):
        part = node(lab, stay.part, when, mode, span=(start, end))
        if lab.kinds.get(stay.part) in MEASURING:
            measuring.append(part)
            stays.append(stay)
        else:
            others.append(part)
    shares = told(stays, measuring)
    return Node(item, own, shown, naming, tuple(measuring), tuple(others), shares)


def use_node(lab: Laboratory, certificate: Certificate, use: Use) -> Node:
    """The node of a used item, at the use, for the mode of the using calibration."""
    return node(lab, use.item, use.when, certificate.mode, use)


def sources(
    tree: Node, scale: Fraction | None = ONE
) -> Iterator[tuple[Certificate, tuple[str, ...], Fraction | None]]:
    """Certificates on which a use may rest: the own value, and those of parts it does not shield.

    Each with the items from the valued one up to the used one, and the share of the force.
    """
    if tree.own is not None:
        yield tree.own, (tree.item,), scale
    for place, part in enumerate(tree.parts):
        share = tree.share_of(place, False) if place < len(tree.measuring) else ONE
        inner = None if share is None or scale is None else share * scale
        for certificate, names, found in sources(part, inner):
            if tree.own is None or certificate.performed.first > tree.own.performed.first:
                yield certificate, (*names, tree.item), found
