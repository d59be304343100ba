"""What a corrected revision took from its errors already, taken from what a later fault does to it.

A revision that was corrected for a fault rests on what was faulty as before: its uses are kept. A
later recall of the same item, channel or certificate finds it again, and of the effect only what
was not taken is left: nothing if the fault is the same, the difference if it is now thought to be
another one. So with U, which the correction widened by the uncertainty of the fault: it is widened
again only by a fault that is less certain. Another look at a fault gives back what an earlier look
took and no fault of it does any more: zero less what was taken. Over-cautious where it could be
read two ways: a fault that only bounds its effect is bounded by so much more.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from fractions import Fraction
from typing import NamedTuple

from graph.faults import Effect, Fault, ForceError
from graph.model import Calibration, Point, Taken, Window
from graph.suspects import SuspectWindow

ZERO = Fraction(0)
# Deltas that do not end are kept with 12 significant digits: what differs by less is the same.
SAME = Fraction(1, 10**11)
# What widened U is kept with 9; what would change the square of U by less than this is nothing.
UNSEEN = Fraction(1, 10**8)


# What moves a certificate if only what an earlier look took from it is given back.
GIVING_BACK = SuspectWindow(
    ForceError(item="", start_us=0, end_us=0, delta_rel=Fraction(0)), Window(0, 0)
)


class Removed(NamedTuple):
    """What corrections took at one point.

    Parameters
    ----------
    delta : Fraction
        delta_rel.
    variance : Fraction
        What U was widened by, as a variance of delta.
    """

    delta: Fraction
    variance: Fraction = ZERO


def taken_before(
    suspect: SuspectWindow, reaching: Sequence[SuspectWindow], calibration: Calibration
) -> list[Removed] | None:
    """Return what was taken at each point for the same thing at the same time.

    What was taken is counted once: of several faults of one thing for the one that is most like
    what it was taken for, by kind, then by window, then the first.

    Parameters
    ----------
    suspect : SuspectWindow
        The fault of the later recall, and when its uses are suspect.
    reaching : sequence of SuspectWindow
        All faults of that recall that reach the revision, this one among them.
    calibration : Calibration
        The revision, with its points.

    Returns
    -------
    list of Removed or None
        By point, summed over several corrections; None if nothing was taken for it.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from graph import ForceError, Moment, Point, SuspectWindow
    >>> from graph.model import Taken
    >>> fault = ForceError(item="REF", start_us=0, end_us=9, delta_rel=Fraction("0.001"))
    >>> suspect = SuspectWindow(fault, fault.window())
    >>> taken = (Taken("REF", None, Window(5, 20), (Fraction("0.0004"),)),)
    >>> ten, size, at = Decimal(10), Fraction(1000), Moment(5, 5)
    >>> points = (Point("1", "single", "kN", False, ten, size, Decimal(0), None, Decimal(2)),)
    >>> revised = Calibration(1, "C-1", 1, "issued", "WS", None, at, taken=taken, points=points)
    >>> taken_before(suspect, [suspect], revised)
    [Removed(delta=Fraction(1, 2500), variance=Fraction(0, 1))]
    """
    number = len(calibration.points)
    same = [
        _removed(one)
        for one in calibration.taken
        if number and len(one.deltas) == number and _claimant(one, reaching) is suspect
    ]
    return [_sum(ones) for ones in zip(*same, strict=True)] if same else None


def owed(
    looks: Container[str], reaching: Sequence[SuspectWindow], calibration: Calibration
) -> tuple[str, list[Removed]] | None:
    """Return what earlier looks took from a revision, and what no fault of this one speaks for.

    Parameters
    ----------
    looks : container of str
        Numbers of the recalls before, at the same fault.
    reaching : sequence of SuspectWindow
        All faults of this look that reach the revision.
    calibration : Calibration
        The revision, with its points.

    Returns
    -------
    tuple of (str, list of Removed) or None
        The name of what was faulty, and by point what was taken; None if nothing is left of it.

    Examples
    --------
    >>> from graph import Moment
    >>> from graph.model import Taken
    >>> taken = (Taken("REF", None, Window(5, 20), (Fraction("0.0004"),), look="R-00001"),)
    >>> at, points = Moment(5, 5), (None,)
    >>> revised = Calibration(1, "C-1", 1, "issued", "WS", None, at, taken=taken, points=points)
    >>> owed({"R-00001"}, [], revised)
    ('REF', [Removed(delta=Fraction(1, 2500), variance=Fraction(0, 1))])
    >>> owed({"R-00002"}, [], revised) is None
    True
    """
    number = len(calibration.points)
    same = [
        one
        for one in calibration.taken
        if one.look in looks
        and number
        and len(one.deltas) == number
        and _claimant(one, reaching) is None
    ]
    total = [_sum(ones) for ones in zip(*map(_removed, same), strict=True)]
    return (same[0].name, total) if any(one.delta for one in total) else None


def _claimant(taken: Taken, reaching: Sequence[SuspectWindow]) -> SuspectWindow | None:
    """The fault that is most like what something was taken for; the first of those alike."""
    same = [
        one
        for one in reaching
        if taken.name == one.fault.item
        and _same_channel(taken.channel, one.fault.channel)
        and _overlap(taken.window, one.window)
    ]
    return max(
        same,
        key=lambda one: (one.fault.kind == taken.kind, one.window == taken.window),
        default=None,
    )


def _removed(one: Taken) -> list[Removed]:
    widened = one.variances or (ZERO,) * len(one.deltas)
    return [Removed(*pair) for pair in zip(one.deltas, widened, strict=True)]


def _sum(ones: Sequence[Removed]) -> Removed:
    return Removed(
        sum((one.delta for one in ones), ZERO), sum((one.variance for one in ones), ZERO)
    )


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


def less(
    fault: Fault, effects: Sequence[Effect], taken: Sequence[Removed], points: Sequence[Point]
) -> tuple[Effect, ...]:
    """Return the effects of a fault at each point, less what was taken there.

    Parameters
    ----------
    fault : Fault
        The fault.
    effects : sequence of Effect
        One for each point.
    taken : sequence of Removed
        From `taken_before`.
    points : sequence of Point
        Of the revision.

    Returns
    -------
    tuple of Effect
        An effect that nobody knows stays unknown; one that U holds already has no weight.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from graph import ForceError
    >>> fault = ForceError(item="REF", start_us=0, end_us=9, delta_rel=Fraction("0.001"))
    >>> ten, size = Decimal(10), Fraction(1000)
    >>> point = Point("1", "single", "kN", False, ten, size, Decimal(0), None, Decimal(2))
    >>> one = Effect(Fraction("0.001"), Fraction(1))
    >>> less(fault, [one], [Removed(Fraction("0.0004"))], [point])[0].delta
    Fraction(3, 5000)
    """
    rows = zip(effects, taken, points, strict=True)
    return tuple(_less(fault, *row) for row in rows)


def nothing_left(fault: Fault, effects: Sequence[Effect]) -> bool:
    """Whether no point is moved by what is left, nor its U widened."""
    return not any(
        effect.delta != 0 or (effect.weight and fault.uncertainty_only) for effect in effects
    )


def _less(fault: Fault, effect: Effect, taken: Removed, point: Point) -> Effect:
    if effect.delta is None or not any(taken):
        return effect
    weight = ZERO if _holds(fault, effect, taken, point) else effect.weight
    if fault.bounded:
        return Effect(abs(effect.delta) + abs(taken.delta), weight)
    left = effect.delta - taken.delta
    return Effect(left if abs(left) > abs(taken.delta) * SAME else ZERO, weight)


def _holds(fault: Fault, effect: Effect, taken: Removed, point: Point) -> bool:
    """Whether the uncertainty of the fault is in the U of a point already."""
    if fault.variance is None or not taken.variance:
        return False
    left = effect.weight**2 * fault.variance - taken.variance
    if left <= 0 or point.U is None or point.applied is None:
        return left <= 0
    return left * Fraction(point.k * point.applied) ** 2 <= Fraction(point.U) ** 2 * UNSEEN
