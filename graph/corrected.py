"""What a corrected revision took from its errors already, taken from what a later fault does to it.

A revision that was corrected for a fault rests on what was faulty as before: its uses are kept. A
later recall of the same item, channel or certificate finds it again, and of the effect only what
was not taken is left: nothing if the fault is the same, the difference if it is now thought to be
another one. So with U, which the correction widened by the uncertainty of the fault: it is widened
again only by a fault that is less certain. A look at a fault, the first one asked again too, gives
back what a look at it took and no fault of it does any more: zero less what was taken. Of a fault
that only bounds its effect both ends move by what was taken, as a known effect beside it.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from graph.faults import Effect, Fault, ForceError
from graph.model import Calibration, Point, Taken, Window
from graph.paths import Reasons
from graph.suspects import SuspectWindow

ZERO = Fraction(0)
# Deltas that do not end are kept with 12 significant digits: what differs by less is the same.
SAME = Fraction(1, 10**11)
# What widened U is kept with 9; what would change the square of U by less than this is nothing.
UNSEEN = Fraction(1, 10**8)


# What moves a certificate by what was taken from it, where a fault does not.
GIVING_BACK = SuspectWindow(
    ForceError(item="", start_us=0, end_us=0, delta_rel=Fraction(0)), Window(0, 0)
)


def gives_back(looks: Collection[str], suspects: Iterable[SuspectWindow]) -> bool:
    """Whether what was taken from a revision can move it beside the faults (`GIVING_BACK`).

    Parameters
    ----------
    looks : collection of str
        Numbers of the recalls at the same fault.
    suspects : iterable of SuspectWindow
        The faults.

    Returns
    -------
    bool
    """
    return bool(looks) or any(one.fault.bounded for one in suspects)


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


class Owed(NamedTuple):
    """What moves a revision as if it were a fault of its own.

    Parameters
    ----------
    removed : list of Removed
        By point, what was taken.
    unclaimed : str or None
        What it was taken for, where no fault speaks for that any more.
    why : Reasons
        How that had come to the revision then, as far as it was kept.
    """

    removed: list[Removed]
    unclaimed: str | None
    why: Reasons


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
) -> Owed | None:
    """Return what moves a revision beside the faults that reach it, since it was taken before.

    That is what looks took and no fault of this one speaks for, and what was taken for a fault
    that now only bounds its effect.

    Parameters
    ----------
    looks : container of str
        Numbers of the recalls at the same fault.
    reaching : sequence of SuspectWindow
        All faults of this look that reach the revision.
    calibration : Calibration
        The revision, with its points.

    Returns
    -------
    Owed or None
        None if nothing is left of it.

    Examples
    --------
    >>> from graph import Moment
    >>> from graph.model import Taken
    >>> taken = (Taken("REF", None, Window(5, 20), (Fraction("0.0004"),), look="R-00001"),)
    >>> at, points = Moment(5, 5), (None,)
    >>> revised = Calibration(1, "C-1", 1, "issued", "WS", None, at, taken=taken, points=points)
    >>> owed({"R-00001"}, [], revised)
    Owed(removed=[Removed(delta=Fraction(1, 2500), variance=Fraction(0, 1))], unclaimed='REF', \
why=Reasons(paths=(('REF', 'C-1'),), count=1, generation=1))
    >>> owed({"R-00002"}, [], revised) is None
    True
    """
    number = len(calibration.points)
    same = [
        (one, claimant)
        for one in calibration.taken
        if number and len(one.deltas) == number
        for claimant in [_claimant(one, reaching)]
        if (one.look in looks if claimant is None else claimant.fault.bounded)
    ]
    total = [_sum(ones) for ones in zip(*(_removed(one) for one, _ in same), strict=True)]
    if not any(one.delta for one in total):
        return None
    # What no fault speaks for first: that is what is given back.
    first, claimant = min(same, key=lambda one: one[1] is not None)
    paths = first.paths or ((first.name, calibration.number),)
    why = Reasons(paths, len(paths), first.generation)
    return Owed(total, first.name if claimant is None else None, why)


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
    if fault.bounded:  # what was taken stands beside it (`owed`)
        return Effect(effect.delta, weight)
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
