"""What a corrected revision took from its errors already, taken from what a later fault does to it.

A revision that was corrected for a fault rests on what was faulty as before: its uses are kept. A
later recall of the same item, channel or certificate finds it again, and of the effect only what
was not taken is left: nothing if the fault is the same, the difference if it is now thought to be
another one. Over-cautious where it could be read two ways: a fault that only bounds its effect is
bounded by so much more, and one that moves no value is left as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from graph.faults import Effect, Fault
from graph.model import Calibration, Window

# Deltas that do not end are kept with 15 significant digits: what differs by less is the same.
SAME = Fraction(1, 10**12)


def taken_before(fault: Fault, window: Window, calibration: Calibration) -> list[Fraction] | None:
    """Return what was taken at each point for the same thing at the same time.

    Parameters
    ----------
    fault : Fault
        The fault of the later recall.
    window : Window
        When its uses are suspect.
    calibration : Calibration
        The revision, with its points.

    Returns
    -------
    list of Fraction or None
        delta_rel by point, summed over several corrections; None if nothing was taken for it.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from graph import ForceError, Moment, Point
    >>> from graph.model import Taken
    >>> fault = ForceError(item="REF", start_us=0, end_us=9, delta_rel=Fraction("0.001"))
    >>> taken = (Taken("REF", None, Window(5, 20), (Fraction("0.0004"),)),)
    >>> ten, size, at = Decimal(10), Fraction(1000), Moment(5, 5)
    >>> points = (Point("1", "single", "kN", False, ten, size, Decimal(0), None, Decimal(2)),)
    >>> revised = Calibration(1, "C-1", 1, "issued", "WS", None, at, taken=taken, points=points)
    >>> taken_before(fault, fault.window(), revised)
    [Fraction(1, 2500)]
    """
    number = len(calibration.points)
    same = [
        one.deltas
        for one in calibration.taken
        if number
        and len(one.deltas) == number
        and one.name == fault.item
        and _same_channel(one.channel, fault.channel)
        and _overlap(one.window, window)
    ]
    return [sum(deltas, Fraction(0)) for deltas in zip(*same, strict=True)] if same else None


def _same_channel(one: str | None, other: str | None) -> bool:
    """Whether two channels share anything; without one the whole item is meant."""
    return one is None or other is None or one == other


def _overlap(one: Window, other: Window) -> bool:
    return _begins_before(one, other) and _begins_before(other, one)


def _begins_before(one: Window, other: Window) -> bool:
    """Whether a window begins before the other ends, or at the instant in which both are."""
    if one.start_us is None or other.end_us is None:
        return True
    if one.start_us == other.end_us:
        return one.start_inclusive and other.end_inclusive
    return one.start_us < other.end_us


def less(fault: Fault, effects: Sequence[Effect], taken: Sequence[Fraction]) -> tuple[Effect, ...]:
    """Return the effects of a fault at each point, less what was taken there.

    Parameters
    ----------
    fault : Fault
        The fault.
    effects : sequence of Effect
        One for each point.
    taken : sequence of Fraction
        From `taken_before`.

    Returns
    -------
    tuple of Effect
        An effect that nobody knows stays unknown.

    Examples
    --------
    >>> from graph import ForceError
    >>> fault = ForceError(item="REF", start_us=0, end_us=9, delta_rel=Fraction("0.001"))
    >>> one = Effect(Fraction("0.001"), Fraction(1))
    >>> less(fault, [one, one], [Fraction("0.001"), Fraction("0.0004")])[0].delta
    Fraction(0, 1)
    """
    if fault.uncertainty_only:
        return tuple(effects)
    return tuple(_less(fault, *pair) for pair in zip(effects, taken, strict=True))


def _less(fault: Fault, effect: Effect, taken: Fraction) -> Effect:
    if effect.delta is None or not taken:
        return effect
    if fault.bounded:
        return Effect(abs(effect.delta) + abs(taken), effect.weight)
    left = effect.delta - taken
    return Effect(left if abs(left) > abs(taken) * SAME else Fraction(0), effect.weight)
