"""What does one fault do to each certificate? The walk, without any look at other faults.

Recursion over certificates with a memo. Each certificate gets: its reason paths, its generation,
one value per result row, and its class under this fault alone, or the reason that clears it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction

import oracle_curves
from oracle_effects import Effects
from oracle_holding import Node, sources, use_node
from oracle_laboratory import Laboratory
from oracle_numbers import number
from oracle_records import Certificate, Json, Row, Taken, Use, named_fault
from oracle_values import NOTHING, UNKNOWN, Value, by_direction
from oracle_window import window

CLEARING = ("channel", "part", "mode", "role", "record", "window", "range", "direction")
CLEARING += ("corrected",)
FOLLOWED = ("affected", "indeterminate")
Path = tuple[str, ...]


@dataclass(frozen=True)
class Way:
    """How a use meets the fault: `how` is fault, value or exposed; `names` run to the used item."""

    how: str
    names: Path
    source: Certificate | None


@dataclass
class Finding:
    """One certificate under one fault; `kind` is None where the fault does not reach it."""

    paths: set[Path] = field(default_factory=set)
    generation: int = 0
    values: list[Value] = field(default_factory=list)
    kind: str | None = None
    cleared: str | None = None
    reasons: set[str] = field(default_factory=set)


class OneFault:
    """The answers for one fault; `find` gives the finding of any certificate of the file."""

    def __init__(self, lab: Laboratory, fault: Json) -> None:
        fault = oracle_curves.told(lab, fault) if fault["kind"] == "wrong_curve" else fault
        self.lab, self.fault = lab, fault
        self.effects = Effects(lab, fault)
        self.wrong = self._wrong_certificates()
        self.item: str = self.wrong[0].item if self.wrong else fault["item"]
        self.window = window(lab, fault)
        self.memo: dict[tuple[str, str, int], Finding | None] = {}
        self.nodes: dict[tuple[tuple[str, str, int], int], Node] = {}

    def _wrong_certificates(self) -> list[Certificate]:
        """The certificates that the fault names in place of an item."""
        name = self.fault.get("certificate")
        if name is None:
            return []
        found = [c for c in self.lab.certificates if c.number == name]
        for key, place in (("issuer", 1), ("revision", 2)):
            if self.fault.get(key) is not None:
                found = [c for c in found if c.key[place] == self.fault[key]]
        if not found:
            raise ValueError(f"the fault names an unknown certificate {name}")
        return found

    def find(self, certificate: Certificate) -> Finding:
        """The finding, ValueError if a calibration rests on itself."""
        if certificate.key in self.memo:
            known = self.memo[certificate.key]
            if known is None:
                raise ValueError(f"{certificate.number} rests on itself")
            return known
        self.memo[certificate.key] = None
        finding = self.judge(certificate)
        self.memo[certificate.key] = finding
        return finding

    def node(self, certificate: Certificate, place: int) -> Node:
        """The node of the use at this place of the certificate."""
        key = (certificate.key, place)
        if key not in self.nodes:
            self.nodes[key] = use_node(self.lab, certificate, certificate.uses[place])
        return self.nodes[key]

    def judge(self, certificate: Certificate) -> Finding:
        """Walk the uses of one certificate, then sum and class it."""
        finding = Finding()
        reached: list[tuple[Use, Node, bool]] = []
        cleared: list[str] = []
        ways: list[Way] = []
        unshared = False
        for place, use in enumerate(certificate.uses):
            tree = self.node(certificate, place)
            scope = self.scope(certificate, use, tree)
            if scope not in (None, "faulty"):
                cleared.append(str(scope))
            found = list(self.ways(tree, scope == "faulty"))
            ways += found
            for way in found:
                finding.paths |= {(*path, certificate.number) for path in self.heads(way, use)}
            if any(way.how != "exposed" for way in found):
                reached.append((use, tree, scope == "faulty"))
                if self.broken(tree, scope == "faulty"):
                    unshared = True
        finding.values = [self.total(certificate, row, reached) for row in certificate.rows]
        taken = self.taken(certificate)
        if taken and finding.values and any(value.felt for value in finding.values):
            finding.values = [
                self.less(value, row, taken)
                for value, row in zip(finding.values, certificate.rows, strict=True)
            ]
            if not any(value.felt for value in finding.values):
                finding.cleared = "corrected"
                return finding
        finding.generation = min((self.generation(way) for way in ways), default=0)
        if ways:
            finding.kind = self.classify(finding.values, bool(reached))
            if unshared and finding.kind == "indeterminate":
                finding.reasons.add("shares")
        elif cleared:
            finding.cleared = min(cleared, key=CLEARING.index)
        return finding

    def taken(self, certificate: Certificate) -> list[Taken]:
        """What the certificate took for this fault; section 11, revisions of a recall."""
        own = named_fault(self.fault)
        return [
            one
            for one in certificate.taken
            if any(n == own and self.window.overlaps(*ends) for n, *ends in one.faults)
        ]

    def less(self, value: Value, row: Row, taken: list[Taken]) -> Value:
        """An effect less what was taken of it: another estimate leaves the difference."""
        if value.unknown or self.effects.silent:
            return value
        place = (row.point, row.stage)
        delta = sum((one.delta_rel.get(place, Fraction(0)) for one in taken), Fraction(0))
        if self.effects.by_force:
            delta *= row.force or 0
        left = replace(value, delta=value.delta - delta)
        return left if left.felt else NOTHING

    @staticmethod
    def classify(values: list[Value], by_value: bool) -> str:
        """Class under this fault; without results an effect cannot be told."""
        if any(value.unknown for value in values) or (by_value and not values):
            return "indeterminate"
        return "affected" if any(value.moves for value in values) else "exposed_zero_effect"

    def scope(self, certificate: Certificate, use: Use, tree: Node) -> str | None:
        """What the fault is to a use: "faulty", a clearing reason, or None if it is nothing."""
        if self.wrong:
            scales = [scale for c, _, scale in sources(tree) if c in self.wrong]
            return self.limits(certificate, use, scales) if scales else None
        if use.item != self.item and not self.lab.chains(self.item, use.item):
            return None
        channel = self.effects.channel
        if None not in (channel, use.channel) and channel != use.channel:
            return "channel"
        scales = [s for n, _, s in tree.places(of_fault=True) if n.item == self.item]
        return self.limits(certificate, use, scales) if scales else "part"

    def limits(self, certificate: Certificate, use: Use, scales: list[Fraction | None]) -> str:
        """Which limit of the fault clears a use that met it; "faulty" if none does."""
        effects = self.effects
        if effects.mode is not None and certificate.mode not in (None, effects.mode):
            return "mode"
        if effects.roles is not None and use.role not in effects.roles:
            return "role"
        served = [row for row in certificate.rows if use.serves(row)]
        if effects.kind == "wrong_correction_factor" and use.factor is not None:
            if use.factor == number(self.fault["factor_right"]):
                return "record"
        elif not self.window.holds(use.when):
            return "window"
        elif effects.spares_all(certificate, served, scales):
            return "range"
        ways = effects.directions
        if ways is not None and served and all(r.direction not in (None, *ways) for r in served):
            return "direction"
        return "faulty"

    def is_source(self, certificate: Certificate | None, faulty: bool) -> bool:
        """True if a certificate carries the fault on to its users."""
        if certificate is None:
            return False
        if certificate in self.wrong:
            return faulty
        return self.find(certificate).kind in FOLLOWED

    def ways(self, tree: Node, faulty: bool) -> Iterator[Way]:
        """Every way in which a node meets the fault.

        The faulty item takes the fault alone, not its value in force on top. An own value shields
        the parts, save their own faults and values that are newer than it.
        """
        if tree.item == self.item and faulty and not self.wrong:
            yield Way("fault", (tree.item,), None)
            return
        if self.is_source(tree.own, faulty):
            yield Way("value", (tree.item,), tree.own)
        shown = tree.shown
        if shown is not None and not shown.assigns and self.is_source(shown, faulty):
            yield Way("exposed", (tree.item,), shown)
        for part in tree.parts:
            for way in self.ways(part, faulty):
                if tree.own is None or way.how == "fault" or newer(way, tree.own):
                    yield Way(way.how, (*way.names, tree.item), way.source)

    def heads(self, way: Way, use: Use) -> set[Path]:
        """Paths of a way, from the fault down to the used item."""
        if way.source is None:
            start: Path = (self.item,)
            if self.effects.channel is not None:
                start = (f"{self.item}:{self.effects.channel}", *([use.role] if use.role else []))
            return {(*start, *way.names[1:])}
        if way.source in self.wrong:
            return {(way.source.number, *way.names)}
        return {(*path, *way.names) for path in self.find(way.source).paths}

    def generation(self, way: Way) -> int:
        """Generation of a certificate by one of its ways; assemblies count none."""
        if way.source is None or way.source in self.wrong:
            return 1
        return self.find(way.source).generation + 1

    def touched(self, tree: Node, faulty: bool, how: tuple[str, ...]) -> bool:
        """True if a node meets the fault in one of these ways."""
        return any(way.how in how for way in self.ways(tree, faulty))

    def broken(self, tree: Node, faulty: bool, shielded: bool = False) -> bool:
        """True if shares that cannot be told decide about a node.

        They do not for values that an assembly's own shields, or that come after it (section 10:
        it "passes that on alone", else its users are indeterminate whatever the shares).
        """
        shielded = shielded or tree.own is not None
        for place, part in enumerate(tree.measuring):
            of_value = not shielded and self.touched(part, faulty, ("value",))
            of_fault = self.touched(part, faulty, ("fault",))
            if of_value and tree.share_of(place, False) is None:
                return True
            if of_fault and tree.share_of(place, True) is None:
                return True
        return any(self.broken(part, faulty, shielded) for part in tree.parts)

    def total(
        self, certificate: Certificate, row: Row, reached: list[tuple[Use, Node, bool]]
    ) -> Value:
        """Effect at one point: the sum over all uses that served it; zero at zero force."""
        total = NOTHING
        if row.force == 0:
            return total
        seen, direct = set(), []
        for use, tree, faulty in reached:
            if use.once is not None and use.serves(row):
                if use.once in seen:
                    continue
                seen.add(use.once)
            weight = use.weight_at(row)
            sign = self.effects.sign(use) if faulty and tree.item == self.item else None
            weight = weight if sign is None else sign * abs(weight)
            at = At(certificate, use, row, faulty)
            total = total.plus(self.passed(tree, at, row.force).times(weight))
            direct += [use] if faulty else []
        if self.effects.kind == "readout_gain":
            total = total.plus(self.effects.gain(certificate, direct, row))
        if self.effects.by_force and row.force is None and total.felt:
            return UNKNOWN
        return total

    def passed(self, tree: Node, at: At, force: Fraction | None, fault_only: bool = False) -> Value:
        """What a node carries at a force that it bears, before the weight of the use."""
        if tree.item == self.item and at.faulty and not self.wrong:
            return self.effects.first_hand(at.certificate, at.use, at.row, force)
        total = NOTHING
        if tree.own is not None and not fault_only:
            later = [way for part in tree.parts for way in self.ways(part, at.faulty)]
            total = self.untold([way for way in later if newer(way, tree.own)], at)
            total = total.plus(self.carried(tree.own, at, force))
        shielded = fault_only or tree.own is not None
        for part in tree.others:
            if not shielded:
                by_value = [way for way in self.ways(part, at.faulty) if way.how == "value"]
                total = total.plus(self.untold(by_value, at))
            total = total.plus(self.passed(part, at, force, fault_only=True))
        for place, part in enumerate(tree.measuring):
            total = total.plus(self.shared(tree, place, part, at, force, shielded))
        return total

    def untold(self, ways: list[Way], at: At) -> Value:
        """Effect by ways whose size cannot be told: none if there are none, else unknown.

        A first-hand effect is none at a point of a direction that the fault leaves alone.
        """
        first = all(way.how == "fault" or way.source in self.wrong for way in ways)
        return NOTHING if first and (not ways or self.effects.spares_way(at.row)) else UNKNOWN

    def shared(
        self, tree: Node, place: int, part: Node, at: At, force: Fraction | None, shielded: bool
    ) -> Value:
        """What one measuring part adds to its assembly: its share of the force, then of delta."""
        by_fault = self.touched(part, at.faulty, ("fault",))
        by_value = not shielded and self.touched(part, at.faulty, ("value",))
        if not by_fault and not by_value:
            return NOTHING
        share = tree.share_of(place, of_fault=not by_value)
        if share is None:
            how = ("fault",) if shielded else ("fault", "value")
            return self.untold([w for w in self.ways(part, at.faulty) if w.how in how], at)
        borne = None if force is None else share * force
        value = self.passed(part, at, borne, fault_only=shielded)
        if self.effects.by_force and share != 0:
            # The forces of the parts add up as they are: share x (f / (share x F)) = f / F.
            return value
        return value.times(share)

    def carried(self, source: Certificate, at: At, force: Fraction | None) -> Value:
        """What a certificate gives its item to carry to a later use at a force."""
        if not self.is_source(source, at.faulty):
            return NOTHING
        if source in self.wrong:
            return self.effects.first_hand(at.certificate, at.use, at.row, force)
        finding = self.find(source)
        if finding.kind == "indeterminate":
            return UNKNOWN
        points = [(r.force, r.direction, finding.values[index]) for r, index in source.nodes]
        return by_direction(points, force, at.row.direction) if points else NOTHING


@dataclass(frozen=True)
class At:
    """Where an effect is asked for: a use, at a row; `faulty` if the fault itself meets the use."""

    certificate: Certificate
    use: Use
    row: Row
    faulty: bool


def newer(way: Way, own: Certificate) -> bool:
    """True if a way comes by a value performed after an assembly's own."""
    if way.how != "value" or way.source is None:
        return False
    return way.source.performed.first > own.performed.first
