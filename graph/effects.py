"""What one fault does to one calibration at each of its points, over all the uses it came through.

The suspect uses take the effect of the fault itself; to that is added what the other items carry
from their own calibrations. First order: deltas are added, and a path counts only where its delta
is not zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from graph.faults import NO_EFFECT, UNKNOWN, Effect, Fault
from graph.model import ONE, Calibration, Point, Use
from graph.passing import Passed


def effects_at_points(
    fault: Fault,
    calibration: Calibration,
    suspect: Sequence[Use],
    carried: Sequence[tuple[Use, Passed]],
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


def _is_uniform(
    fault: Fault, suspect: Sequence[Use], carried: Sequence[tuple[Use, Passed]]
) -> bool:
    """Whether the effect is the same at every force but zero."""
    if suspect and not fault.uniform:
        return False
    alike = [use.everywhere is not None for use in suspect]
    alike += [u.everywhere is not None and passed.constant is not None for u, passed in carried]
    return False not in alike


def _effect(
    fault: Fault,
    calibration: Calibration,
    point: Point,
    suspect: Sequence[Use],
    carried: Sequence[tuple[Use, Passed]],
) -> Effect:
    """Effect at one point: the suspect uses, and what the other items carry."""
    found = fault.effect(suspect, calibration, point) if suspect else NO_EFFECT
    for use, passed in carried:
        if found.delta is None:
            return UNKNOWN
        weight = use.weight_at(point.key)
        if weight:
            constant = passed.constant
            effect = passed.at(point.force_n) if constant is None else constant
            found = _added(found, effect, weight)
    return found


def _added(found: Effect, effect: Effect, weight: Fraction) -> Effect:
    """Add what a used item carries; a path counts only where its effect is not zero."""
    if effect.delta is None or found.delta is None:
        return UNKNOWN
    if not effect.delta:
        return found
    if found is NO_EFFECT and weight is ONE:
        return effect
    return Effect(found.delta + weight * effect.delta, found.weight + weight * effect.weight)
