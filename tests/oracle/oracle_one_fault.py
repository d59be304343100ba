"""What does one fault do to each certificate? The walk, without any look at other faults.

Recursion over certificates with a memo. Each certificate gets: its reason paths, its generation,
one value per result row, and its class under this fault alone, or the reason that clears it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from oracle_laboratory import Certificate, Json, Laboratory, Row, Use
from oracle_numbers import Moment, microseconds, moment, number
from oracle_window import all_segments, in_segment, window

CLEARING = ("channel", "part", "record", "window", "range")
FOLLOWED = ("affected", "indeterminate")
ZERO = Fraction(0)


@dataclass(frozen=True)
class Value:
    """Effect at a point: `delta` plus `share` of an interval bound; `weight` is W; or unknown."""

    delta: Fraction = ZERO
    share: Fraction = ZERO
    weight: Fraction = ZERO
    unknown: bool = False

    @property
    def moves(self) -> bool:
        """True if the effect is known and not zero."""
        return not self.unknown and (self.delta != 0 or self.share != 0)

    def times(self, weight: Fraction) -> Value:
        """Effect through a use of this weight; a path without effect does not count in W."""
        if weight == 0 or not (self.unknown or self.moves):
            return NOTHING
        if self.unknown:
            return UNKNOWN
        return Value(self.delta * weight, self.share * weight, self.weight * weight)

    def plus(self, other: Value) -> Value:
        """Sum of two effects; unknown if either is."""
        if self.unknown or other.unknown:
            return UNKNOWN
        return Value(self.delta + other.delta, self.share + other.share, self.weight + other.weight)


NOTHING = Value()
UNKNOWN = Value(unknown=True)
Node = tuple[Fraction | None, Value]


@dataclass
class Finding:
    """One certificate under one fault; `kind` is None where the fault does not reach it."""

    paths: set[tuple[str, ...]] = field(default_factory=set)
    generation: int = 0
    values: list[Value] = field(default_factory=list)
    kind: str | None = None
    cleared: str | None = None


def mean(values: list[Value]) -> Value:
    """Average of known values."""
    total = NOTHING
    for value in values:
        total = total.plus(value)
    n = len(values)
    return Value(total.delta / n, total.share / n, total.weight / n)


def between(nodes: list[Node], force: Fraction | None) -> Value:
    """Passed-on effect at a force: piecewise linear over the nodes, ends held."""
    values = [value for _, value in nodes]
    if all(value == values[0] for value in values):
        return values[0]
    known = sorted({f for f, _ in nodes if f is not None})
    if force is None or any(f is None for f, _ in nodes):
        return UNKNOWN
    at = {f: mean([v for g, v in nodes if g == f]) for f in known}
    if force <= known[0]:
        return at[known[0]]
    if force >= known[-1]:
        return at[known[-1]]
    for low, high in pairwise(known):
        if low <= force <= high:
            part = (force - low) / (high - low)
            a, b = at[low], at[high]
            return Value(
                a.delta + part * (b.delta - a.delta),
                a.share + part * (b.share - a.share),
                a.weight + part * (b.weight - a.weight),
            )
    raise AssertionError("a force between the ends lies between two nodes")


class OneFault:
    """The answers for one fault; `find` gives the finding of any certificate of the file."""

    def __init__(self, lab: Laboratory, fault: Json) -> None:
        self.lab, self.fault, self.kind = lab, fault, fault["kind"]
        self.item = fault["item"]
        self.channel = None if fault.get("channel") is None else str(fault["channel"])
        self.window = window(lab, fault)
        self.memo: dict[tuple[str, str, int], Finding | None] = {}

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

    def judge(self, certificate: Certificate) -> Finding:
        """Walk the uses of one certificate, then sum and class it."""
        finding = Finding()
        direct: list[Use] = []
        valued: list[tuple[Use, Certificate]] = []
        reasons: list[str] = []
        generations: list[int] = []
        for use in certificate.uses:
            reason = self.clears(certificate, use)
            if reason == "faulty":
                direct.append(use)
                generations.append(1)
                finding.paths |= {(*path, certificate.number) for path in self.heads(use)}
                continue
            if reason is not None:
                reasons.append(reason)
            source = self.lab.value_from(use)
            if source is not None and source.assigns and self.find(source).kind in FOLLOWED:
                valued.append((use, source))
                generations.append(self.extend(finding, source, use, certificate))
            shown = source if use.certificate else self.lab.latest(use.item, use.when, True)
            if shown is not None and not shown.assigns and self.find(shown).kind in FOLLOWED:
                generations.append(self.extend(finding, shown, use, certificate))
        finding.values = [self.total(certificate, row, direct, valued) for row in certificate.rows]
        finding.generation = min(generations, default=0)
        if generations:
            finding.kind = self.classify(finding.values, bool(direct or valued))
        elif reasons:
            finding.cleared = min(reasons, key=CLEARING.index)
        return finding

    def extend(
        self, finding: Finding, source: Certificate, use: Use, certificate: Certificate
    ) -> int:
        """Carry the paths of a source on to its user; the generation by this way."""
        known = self.find(source)
        finding.paths |= {(*path, use.item, certificate.number) for path in known.paths}
        return known.generation + 1

    @staticmethod
    def classify(values: list[Value], by_value: bool) -> str:
        """Class under this fault; without results an effect cannot be told."""
        if any(value.unknown for value in values) or (by_value and not values):
            return "indeterminate"
        return "affected" if any(value.moves for value in values) else "exposed_zero_effect"

    def clears(self, certificate: Certificate, use: Use) -> str | None:
        """What the fault is to a use: "faulty", a clearing reason, or None if it is nothing."""
        chains = self.lab.chains(self.item, use.item)
        if use.item != self.item and not chains:
            return None
        if None not in (self.channel, use.channel) and self.channel != use.channel:
            return "channel"
        if use.item != self.item and not any(chain.held_at(use.when) for chain in chains):
            return "part"
        if self.kind == "wrong_correction_factor" and use.factor is not None:
            right = number(self.fault["factor_right"])
            return "record" if use.factor == right else "faulty"
        if not self.window.holds(use.when):
            return "window"
        if self.fault.get("segments") and certificate.rows:
            served = [row for row in certificate.rows if use.serves(row)]
            if all(self.out_of_range(row) for row in served):
                return "range"
        return "faulty"

    def out_of_range(self, row: Row) -> bool:
        """True if the point is known to lie where the item was right."""
        if row.force == 0:
            return True
        if row.force is None:
            return False
        homes = [s for s in all_segments(self.fault) if in_segment(row.force, s)]
        return bool(homes) and all(s[2] == 0 for s in homes)

    def heads(self, use: Use) -> list[tuple[str, ...]]:
        """Paths from the fault down to the used item."""
        start: tuple[str, ...] = (self.item,)
        if self.channel is not None:
            start = (f"{self.item}:{self.channel}", *([use.role] if use.role else []))
        if use.item == self.item:
            return [start]
        chains = self.lab.chains(self.item, use.item)
        return [(*start, *chain.names[1:]) for chain in chains if chain.held_at(use.when)]

    def total(
        self,
        certificate: Certificate,
        row: Row,
        direct: list[Use],
        valued: list[tuple[Use, Certificate]],
    ) -> Value:
        """Effect at one point: the sum over all uses that served it; zero at zero force."""
        total = NOTHING
        if row.force == 0:
            return total
        for use in direct if self.kind != "readout_gain" else []:
            effect = self.effect(certificate, use, row)
            total = total.plus(effect.times(use.weight_at(row)))
        if self.kind == "readout_gain":
            total = total.plus(self.gain(direct, row))
        for use, source in valued:
            total = total.plus(self.passed_on(source, row.force).times(use.weight_at(row)))
        return total

    def passed_on(self, source: Certificate, force: Fraction | None) -> Value:
        """What an item carries from its calibration to a later use at a force."""
        finding = self.find(source)
        if finding.kind == "indeterminate":
            return UNKNOWN
        for stage in ("as_left", "single", "as_found"):
            nodes = [
                (row.force, value)
                for row, value in zip(source.rows, finding.values, strict=True)
                if row.stage == stage and row.force != 0
            ]
            if nodes:
                return between(nodes, force)
        return NOTHING

    def gain(self, direct: list[Use], row: Row) -> Value:
        """g_dut/g_ref - 1 of the readout uses that served the point.

        A weight scales its own factor; its sign only names the role, which is known already.
        """
        gain = number(self.fault["gain"])
        reference, dut, weight, unknown = Fraction(1), Fraction(1), ZERO, False
        for use in direct:
            share = use.weight_at(row)
            if share == 0 or use.role not in ("readout_reference", "readout_dut"):
                continue
            unknown = unknown or (self.channel is not None and use.channel is None)
            weight += share
            if use.role == "readout_reference":
                reference += abs(share) * (1 / gain - 1)
            else:
                dut += abs(share) * (gain - 1)
        if unknown:
            return UNKNOWN
        delta = reference * dut - 1
        return Value(delta, ZERO, weight if delta != 0 else ZERO)

    def effect(self, certificate: Certificate, use: Use, row: Row) -> Value:
        """Effect of a faulty use at one point, before its weight."""
        if self.channel is not None and use.channel is None:
            return UNKNOWN
        delta = self.delta(certificate, use, row)
        if delta is None:
            return UNKNOWN
        if self.kind == "interval":
            return Value(ZERO, Fraction(1), Fraction(1))
        return Value(delta, ZERO, Fraction(1))

    def delta(self, certificate: Certificate, use: Use, row: Row) -> Fraction | None:
        """delta_rel of a faulty use, None where it cannot be told."""
        fault = self.fault
        if self.kind == "true_force_relative_error":
            return self.segment_delta(row) if fault.get("segments") else number(fault["delta_rel"])
        if self.kind == "indicates_high":
            return 1 / (1 + number(fault["indication_rel"])) - 1
        if self.kind == "wrong_correction_factor":
            used = use.factor if use.factor is not None else number(fault["factor_applied"])
            return number(fault["factor_right"]) / used - 1
        if self.kind == "indication_effect_by_type":
            kind = self.lab.types.get(certificate.item)
            if kind is not None and kind in fault["effect_rel"]:
                return number(fault["effect_rel"][kind])
            other = fault.get("other_types")
            return None if other in (None, "indeterminate") else number(other)
        if self.kind == "linear_drift":
            return self.drift(use.when)
        if self.kind == "interval":
            return ZERO
        if self.kind == "unknown":
            return None
        raise ValueError(f"the oracle does not know the fault kind {self.kind}")

    def segment_delta(self, row: Row) -> Fraction | None:
        """Delta of the segment that holds the point, None outside all or without a force."""
        if row.force is None:
            return None
        for segment in all_segments(self.fault):
            if in_segment(row.force, segment):
                return segment[2]
        return None

    def drift(self, when: Moment) -> Fraction:
        """Linear from zero at the last good instant; never before it."""
        good = moment(self.fault["last_good_at"], self.lab.zone).noon
        measured = moment(self.fault["measured_at"], self.lab.zone).noon
        part = Fraction(microseconds(when.noon - good), microseconds(measured - good))
        return number(self.fault["delta_rel"]) * max(part, ZERO)
