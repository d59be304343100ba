"""What one fault does to one calibration at each of its points, over all the uses it came through.

The suspect uses take the effect of the fault itself; to that is added what the other items carry
from their own calibrations, and what the parts of used assemblies carry by their share. First
order: deltas are added, and a path counts only where its delta is not zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from graph.faults import NO_EFFECT, UNKNOWN, Effect, Fault
from graph.model import ONE, Calibration, Point, Use
from graph.passing import Passed


class Carried(NamedTuple):
    """A use whose item, or a part that it held, carries an effect from its own calibration.

    `passed` is None where nobody can say what it does; `share` is that of the part.
    """

    use: Use
    passed: Passed | None
    share: Fraction = ONE


def effects_at_points(
    fault: Fault,
    calibration: Calibration,
    suspect: Sequence[Use],
    carried: Sequence[Carried],
) -> tuple[Effect, ...]:
    """Effect at each point; worked out once where nothing in it depends on the point."""
    zeros = [point.at_zero for point in calibration.points]
    if False not in zeros:
        return (NO_EFFECT,) * len(zeros)
    if _is_uniform(fault, suspect, carried):
        moving = calibration.points[zeros.index(False)]
        same = _effect(fault, calibration, moving, suspect, carried)
        if True not in zeros:
            return (same,) * len(zeros)
        return tuple(NO_EFFECT if zero else same for zero in zeros)
    return tuple(
        NO_EFFECT if zero else _effect(fault, calibration, point, suspect, carried)
        for point, zero in zip(calibration.points, zeros, strict=True)
    )


def _is_uniform(fault: Fault, suspect: Sequence[Use], carried: Sequence[Carried]) -> bool:
    """Whether the effect is the same at every force but zero."""
    if suspect and (not fault.uniform or (fault.only and fault.only.directions)):
        return False
    alike = [use.everywhere is not None for use in suspect]
    alike += [
        one.use.everywhere is not None and (one.passed is None or one.passed.constant is not None)
        for one in carried
    ]
    return False not in alike


def _effect(
    fault: Fault,
    calibration: Calibration,
    point: Point,
    suspect: Sequence[Use],
    carried: Sequence[Carried],
) -> Effect:
    """Effect at one point: the suspect uses, and what the other items carry.

    Where the force is not known, wrong forces can still be told to cancel: they are compared as at
    one newton, and carried ones only where they are the same at every force.
    """
    anywhere = fault.by_force and point.force_n is None
    if anywhere:
        point = point._replace(recorded=Decimal(1), newton=ONE)
    found = _direct(fault, calibration, point, suspect) if suspect else NO_EFFECT
    for use, passed, share in carried:
        if found.delta is None:
            return UNKNOWN
        weight = use.weight_at(point.key)
        if not weight:
            continue
        if passed is None:
            return UNKNOWN
        effect = passed.constant
        if effect is None:
            effect = passed.at(point.carried(share).force_n, point.direction, anywhere=anywhere)
        found = _added(fault, found, effect, weight if share is ONE else weight * share)
    if anywhere:
        return UNKNOWN if found.delta is None or found.delta else NO_EFFECT
    return found


def _direct(fault: Fault, calibration: Calibration, point: Point, suspect: Sequence[Use]) -> Effect:
    """Effect of the suspect uses, as far as the fault is limited to a mode or directions."""
    only = fault.only
    if only is not None:
        ways = only.directions
        if ways is not None and point.direction is not None and point.direction not in ways:
            return NO_EFFECT
        unclear = only.mode is not None and calibration.mode is None
        if unclear or (ways is not None and point.direction is None):
            return _reached(fault, point, suspect)
    return fault.effect(suspect, calibration, point)


def _reached(fault: Fault, point: Point, suspect: Sequence[Use]) -> Effect:
    """What nobody can say, where a use that can be concerned served the point at all."""
    served = any(use.weight_at(point.key) and fault.concerns(use) for use in suspect)
    return UNKNOWN if served else NO_EFFECT


def _added(fault: Fault, found: Effect, effect: Effect, weight: Fraction) -> Effect:
    """Add what a used item carries; a path counts only where its effect is not zero."""
    if effect.delta is None or found.delta is None:
        return UNKNOWN
    if not effect.delta and not fault.uncertainty_only:
        return found
    if found is NO_EFFECT and weight is ONE:
        return effect
    return Effect(found.delta + weight * effect.delta, found.weight + weight * effect.weight)


def together(effects: Sequence[Sequence[Effect]]) -> tuple[tuple[Effect, ...], ...]:
    """Return the effects of all faults by point; neighbours with the same ones share a tuple.

    Parameters
    ----------
    effects : sequence of sequence of Effect
        For each fault those at the points of one calibration.

    Returns
    -------
    tuple of tuple of Effect
        For each point those of every fault.
    """
    found: list[tuple[Effect, ...]] = []
    last: tuple[Effect, ...] = ()
    for at_point in zip(*effects, strict=True):
        if at_point != last:
            last = at_point
        found.append(last)
    return tuple(found)
