"""What a calibrated item passes on to everything later measured with it.

Piecewise linear in force over the points of its calibration, ends held. The points are those of the
best stage present (as left, else single, else as found); several rows at one force are averaged and
rows at zero force are left out, since a relative effect means nothing there. Weights pass on in the
same way, because the uncertainty of a delta travels with it. Where a force is wrong and not a ratio
(a hanger's mass), it is the force that is interpolated.

Points of one direction are kept apart: a user's point takes the nodes of its own direction, else
those without one, else all. A point without direction takes all, where these ways agree.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from graph.faults import NO_EFFECT, UNKNOWN, Effect
from graph.model import VALUE_STAGES, ZERO, Calibration, Point

Row = tuple[Point, Effect]
Node = tuple[Fraction, Effect]


@dataclass(frozen=True, slots=True)
class Curve:
    """Effects at rising forces (newton), with straight lines between them."""

    forces: tuple[Fraction, ...]
    effects: tuple[Effect, ...]

    def at(self, force_n: Fraction | None) -> Effect:
        """Effect at a force; the ends are held. Without a force, where it is the same at all."""
        if len(self.forces) == 1:
            return self.effects[0]
        if force_n is None:
            alike = all(one == self.effects[0] for one in self.effects)
            return self.effects[0] if alike else UNKNOWN
        place = bisect_left(self.forces, force_n)
        if place == 0:
            return self.effects[0]
        if place == len(self.forces):
            return self.effects[-1]
        below, above = self.effects[place - 1], self.effects[place]
        span = self.forces[place] - self.forces[place - 1]
        share = (force_n - self.forces[place - 1]) / span
        if below.delta is None or above.delta is None:
            return UNKNOWN
        return Effect(
            below.delta + (above.delta - below.delta) * share,
            below.weight + (above.weight - below.weight) * share,
        )


@dataclass(frozen=True, slots=True)
class Passed:
    """The effect an item carries, by force and direction.

    `constant` is the effect where it is the same everywhere, and then serves points whose force is
    not known too. `directed` holds a curve for each direction that was recorded, under None for
    points without one; it is empty where none was. Of `by_force` curves the effects are forces.
    """

    constant: Effect | None = None
    whole: Curve | None = None
    directed: Mapping[str | None, Curve | None] = field(default_factory=dict)
    by_force: bool = False

    def at(
        self, force_n: Fraction | None, direction: str | None = None, *, anywhere: bool = False
    ) -> Effect:
        """Effect at a recorded force in newton; None where no force was recorded.

        With `anywhere` the force says how large a wrong force is, and not where it was measured.
        """
        if force_n == 0:
            return NO_EFFECT
        if self.constant is not None:
            return self.constant
        place = None if anywhere else force_n
        if direction is not None or not self.directed:
            whole = self.whole
            curve = self.directed.get(direction, self.directed.get(None, whole))
            found = UNKNOWN if curve is None else curve.at(place)
        else:
            found = self._in_any_direction(place)
        if self.by_force and found.delta:
            return Effect(found.delta / force_n, found.weight / force_n) if force_n else UNKNOWN
        return found

    def _in_any_direction(self, force_n: Fraction | None) -> Effect:
        ways = [UNKNOWN if one is None else one.at(force_n) for one in self.directed.values()]
        # An uncertainty that differs cannot be told either: of some faults it is all there is.
        if any(one.delta is None or one != ways[0] for one in ways):
            return UNKNOWN
        whole = UNKNOWN if self.whole is None else self.whole.at(force_n)
        return ways[0] if whole.delta is None else whole


UNKNOWN_EVERYWHERE = Passed(UNKNOWN)


def passed_on(
    calibration: Calibration, effects: Sequence[Effect], *, by_force: bool = False
) -> Passed:
    """What the calibrated item passes on, from the effect at each of its points."""
    if not calibration.points or any(effect.delta is None for effect in effects):
        return UNKNOWN_EVERYWHERE
    rows = _value_rows(calibration.points, effects)
    first = rows[0][1] if rows else NO_EFFECT
    if not rows or (not by_force and all(effect is first or effect == first for _, effect in rows)):
        return Passed(first)
    directions = {point.direction for point, _ in rows}
    directed = {}
    if directions != {None}:
        for one in directions:
            directed[one] = _curve([row for row in rows if row[0].direction == one], by_force)
    return Passed(None, _curve(rows, by_force), directed, by_force)


def _value_rows(points: Sequence[Point], effects: Sequence[Effect]) -> list[Row]:
    rows = [(p, e) for p, e in zip(points, effects, strict=True) if not p.at_zero]
    for stage in VALUE_STAGES:
        chosen = [row for row in rows if row[0].stage == stage]
        if chosen:
            return chosen
    return rows


def _curve(rows: Sequence[Row], by_force: bool) -> Curve | None:
    """Curve through rows; several at one force are averaged. None where a place is not known."""
    first = rows[0][1]
    # A wrong force that differs by place is the same in relation only where it is none.
    if (not by_force or not first.delta) and all(effect == first for _, effect in rows):
        return Curve((ZERO,), (first,))
    by_place: dict[Fraction, list[Effect]] = {}
    for point, effect in rows:
        force_n = point.force_n
        if force_n is None or effect.delta is None:
            return None
        if by_force:
            effect = Effect(effect.delta * force_n, effect.weight * force_n)
        by_place.setdefault(force_n, []).append(effect)
    nodes = [(force, _mean(same)) for force, same in sorted(by_place.items())]
    return Curve(tuple(force for force, _ in nodes), tuple(effect for _, effect in nodes))


def _mean(same: Sequence[Effect]) -> Effect:
    return Effect(
        sum((one.delta for one in same if one.delta is not None), ZERO) / len(same),
        sum((one.weight for one in same), ZERO) / len(same),
    )
