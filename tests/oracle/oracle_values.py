"""What effect does one fault have at a point, and what does a calibrated item pass on?

`delta` is counted in what the fault carries down the chain: a relative force error, a force in
newtons for a force offset, or the plain weight for a fault of uncertainty alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

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

    @property
    def felt(self) -> bool:
        """True if there is an effect, known or not."""
        return self.unknown or self.moves

    def times(self, weight: Fraction) -> Value:
        """Effect through a use of this weight; a path without effect does not count in W."""
        if weight == 0 or not self.felt:
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
# Force in newtons (None: not recorded), direction, effect.
Point = tuple[Fraction | None, str | None, Value]


def mean(values: list[Value]) -> Value:
    """Average of known values."""
    total = NOTHING
    for value in values:
        total = total.plus(value)
    n = len(values)
    return Value(total.delta / n, total.share / n, total.weight / n)


def between(points: list[Point], force: Fraction | None) -> Value:
    """Effect at a force: piecewise linear over the points, ends held, equal forces averaged."""
    values = [value for *_, value in points]
    if all(value == values[0] for value in values):
        return values[0]
    if force is None or any(f is None for f, *_ in points):
        return UNKNOWN
    known = sorted({f for f, *_ in points if f is not None})
    at = {f: mean([v for g, _, v in points if g == f]) for f in known}
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
    raise AssertionError("a force between the ends lies between two points")


def by_direction(points: list[Point], force: Fraction | None, direction: str | None) -> Value:
    """Effect at a force for a point of this direction.

    Points of the same direction, else those without one, else all. Without a direction: all, and
    unknown where the directions recorded give different effects.
    """
    if direction is None:
        groups = {way: [p for p in points if p[1] == way] for way in {p[1] for p in points}}
        found = [between(group, force) for group in groups.values()]
        if any(value != found[0] for value in found):
            return UNKNOWN
        return found[0]
    own = [p for p in points if p[1] == direction] or [p for p in points if p[1] is None]
    return between(own or points, force)
