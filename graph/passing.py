"""What a calibrated item passes on to everything later measured with it.

Piecewise linear in force over the points of its calibration, ends held. The points are those of the
best stage present (as left, else single, else as found); several rows at one force are averaged and
rows at zero force are left out, since a relative effect means nothing there. Weights pass on in the
same way, because the uncertainty of a delta travels with it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from graph.faults import NO_EFFECT, UNKNOWN, Effect
from graph.model import VALUE_STAGES, Calibration, Point


@dataclass(frozen=True, slots=True)
class Passed:
    """The effect an item carries, by force.

    `constant` is the effect where it is the same at every force, and then serves points whose
    force is not known too.
    """

    forces: tuple[Fraction, ...]
    effects: tuple[Effect, ...]
    constant: Effect | None

    def at(self, force_n: Fraction | None) -> Effect:
        """Effect at a recorded force in newton; None where no force was recorded."""
        if force_n == 0:
            return NO_EFFECT
        if self.constant is not None:
            return self.constant
        if force_n is None:
            return UNKNOWN
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


UNKNOWN_EVERYWHERE = Passed((), (), UNKNOWN)


def passed_on(calibration: Calibration, effects: Sequence[Effect]) -> Passed:
    """What the calibrated item passes on, from the effect at each of its points."""
    if not calibration.points or any(effect.delta is None for effect in effects):
        return UNKNOWN_EVERYWHERE
    rows = _value_rows(calibration.points, effects)
    first = rows[0][1] if rows else NO_EFFECT
    if all(effect is first or effect == first for _, effect in rows):
        return Passed((), (), first)
    forces = [(point.force_n, effect) for point, effect in rows]
    if any(force is None for force, _ in forces):
        return UNKNOWN_EVERYWHERE
    nodes = _averaged([(force, effect) for force, effect in forces if force is not None])
    return Passed(tuple(force for force, _ in nodes), tuple(effect for _, effect in nodes), None)


def _value_rows(points: Sequence[Point], effects: Sequence[Effect]) -> list[tuple[Point, Effect]]:
    rows = [(p, e) for p, e in zip(points, effects, strict=True) if not p.at_zero]
    for stage in VALUE_STAGES:
        chosen = [row for row in rows if row[0].stage == stage]
        if chosen:
            return chosen
    return rows


def _averaged(rows: Sequence[tuple[Fraction, Effect]]) -> list[tuple[Fraction, Effect]]:
    by_force: dict[Fraction, list[Effect]] = {}
    for force, effect in rows:
        by_force.setdefault(force, []).append(effect)
    return [
        (
            force,
            Effect(
                sum((e.delta for e in same if e.delta is not None), Fraction(0)) / len(same),
                sum((e.weight for e in same), Fraction(0)) / len(same),
            ),
        )
        for force, same in sorted(by_force.items())
    ]
