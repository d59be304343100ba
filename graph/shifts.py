"""By how much each result moves, and how uncertain it is afterwards.

shift = corrected error - error, in the unit of the point (percentage points for relative results).
Absolute results: corrected = error - delta x applied. Relative results: corrected =
(1 + e)/(1 + delta) - 1. A bounded fault gives both ends. The uncertainty of delta enters in
quadrature with the summed weight of all paths of one fault (fully correlated with itself), and in
squares over independent faults (JCGM 100:2008, 5.1.2 and 5.2.2).

Points at which the same effects were found share one `Mover`, so that what depends on the effects
alone is worked out once a certificate and not once a point.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from graph.exact import Exact, ended, plus, root, times
from graph.faults import Effect
from graph.model import ZERO, Point
from graph.suspects import SuspectWindow

NOTHING = Decimal(0)
_made = tuple.__new__  # of a named tuple that comes once a point: half the time of its own call


class Span(NamedTuple):
    """A value that may lie anywhere from `lower` to `upper`.

    Attributes
    ----------
    lower, upper : Decimal or Fraction
        The ends, in order.
    """

    lower: Exact
    upper: Exact


class Shifted(NamedTuple):
    """One point after the faults; None where it is unknown, a span where a fault is bounded.

    Attributes
    ----------
    delta : Decimal, Fraction, Span or None
        (true force - recorded force) / recorded force.
    shift : Decimal, Fraction, Span or None
        Corrected error less error, in the unit of the point (percentage points for relative
        results).
    corrected : Decimal, Fraction, Span or None
        The error without the faults.
    U_after : Decimal, Fraction or None
        Expanded uncertainty with that of the faults; None where U stays.
    U_exact : bool
        Whether `U_after` is exact; else it is an irrational root, cut at 50 digits.
    """

    delta: Exact | Span | None
    shift: Exact | Span | None
    corrected: Exact | Span | None
    U_after: Exact | None = None
    U_exact: bool = True


@dataclass(frozen=True, slots=True)
class Mover:
    """Moves the points at which the same effects were found.

    Attributes
    ----------
    delta : Decimal, Fraction, Span or None
        The sum over all faults, a span where one is bounded, None where one is unknown.
    variance : Decimal, Fraction or None
        That of delta at k = 1; None where the faults state no uncertainty.
    """

    delta: Exact | Span | None
    variance: Exact | None

    def move(self, point: Point) -> Shifted:
        """Return the point as it would have been reported without the faults.

        Parameters
        ----------
        point : Point
            As it was reported.

        Returns
        -------
        Shifted
        """
        delta, recorded, error = self.delta, point.recorded, point.error
        if (
            type(delta) is Decimal
            and recorded
            and error is not None
            and self.variance is None
            and not point.relative
        ):
            # Nearly all points come this way; the general one gives the same in six more calls.
            moved = times(delta, recorded).copy_negate()
            return _made(Shifted, (delta, moved, plus(error, moved), None, True))
        if point.at_zero:
            return self._with_U(point, NOTHING, NOTHING, error)
        if delta is None:
            return Shifted(None, None, None)
        if not isinstance(delta, Span):
            shift = _shift(point, delta)
            return self._with_U(point, delta, shift, _corrected(point, shift))
        ends = _shift(point, delta.lower), _shift(point, delta.upper)
        if ends[0] is None or ends[1] is None:
            return self._with_U(point, delta, None, None)
        # A larger true force makes the error smaller, for a positive applied force.
        span = Span(*(ends if ends[0] <= ends[1] else reversed(ends)))
        lower, upper = _corrected(point, span.lower), _corrected(point, span.upper)
        corrected = None if lower is None or upper is None else Span(lower, upper)
        return self._with_U(point, delta, span, corrected)

    def _with_U(
        self,
        point: Point,
        delta: Exact | Span,
        shift: Exact | Span | None,
        corrected: Exact | Span | None,
    ) -> Shifted:
        if self.variance is None or point.U is None:
            return Shifted(delta, shift, corrected)
        applied = point.applied
        if point.at_zero or applied is None or not self.variance:
            return Shifted(delta, shift, corrected, point.U)
        # k sqrt((U/k)^2 + ...) without the quotient, which need not end.
        added = _times(_times(self.variance, _square(point.k)), _square(applied))
        return Shifted(delta, shift, corrected, *root(_plus(_square(point.U), added)))


def mover(suspects: Sequence[SuspectWindow], effects: Sequence[Effect]) -> Mover:
    """Return what moves the points with these effects, one for each fault and in their order.

    Uncertainties of independent faults add in squares (JCGM 100:2008, 5.1.2).

    Parameters
    ----------
    suspects : sequence of SuspectWindow
        The faults.
    effects : sequence of Effect
        As in `Judgement.effects` at one point.

    Returns
    -------
    Mover

    Raises
    ------
    ValueError
        If there are not as many effects as faults.

    Examples
    --------
    >>> from graph import ForceError
    >>> fault = ForceError(item="REF", start_us=0, end_us=9, delta_rel=Fraction("0.001"))
    >>> effect, suspect = Effect(fault.delta_rel, Fraction(1)), SuspectWindow(fault, fault.window())
    >>> force, size = Decimal(10), Fraction(1000)
    >>> point = Point("1", "single", "kN", False, force, size, Decimal("0.015"), None, Decimal(2))
    >>> mover([suspect], [effect]).move(point).corrected
    Decimal('0.005')
    """
    known, bound, bounded, told = ZERO, ZERO, False, True
    variance: Fraction | None = None
    for suspect, effect in zip(suspects, effects, strict=True):
        fault = suspect.fault
        if fault.variance is not None:
            variance = (variance or ZERO) + effect.weight * effect.weight * fault.variance
        if effect.delta is None:
            told = False
        elif fault.bounded:
            bound, bounded = bound + abs(effect.delta), True
        else:
            known += effect.delta
    spread = None if variance is None else ended(variance)
    if not told:
        return Mover(None, spread)
    if bounded:
        return Mover(Span(ended(known - bound), ended(known + bound)), spread)
    return Mover(ended(known), spread)


def _shift(point: Point, delta: Exact) -> Exact | None:
    if not delta:
        return NOTHING
    if point.relative:
        # At -1 no true force would be left to refer the error to.
        return None if point.error is None or delta <= -1 else _relative_shift(point.error, delta)
    return None if point.recorded is None else _negated(_times(delta, point.recorded))


def _relative_shift(error_pct: Decimal, delta: Exact) -> Exact:
    error = Fraction(error_pct)
    corrected = ((1 + error / 100) / (1 + Fraction(delta)) - 1) * 100
    return ended(corrected - error)


def _corrected(point: Point, shift: Exact | None) -> Exact | None:
    return None if shift is None or point.error is None else _plus(point.error, shift)


def _times(one: Exact, other: Exact) -> Exact:
    if isinstance(one, Decimal) and isinstance(other, Decimal):
        return times(one, other)
    return Fraction(one) * Fraction(other)


def _negated(value: Exact) -> Exact:
    """The number with its other sign; the minus of Python would round a Decimal to 28 digits."""
    return value.copy_negate() if isinstance(value, Decimal) else -value


def _plus(one: Exact, other: Exact) -> Exact:
    if isinstance(one, Decimal) and isinstance(other, Decimal):
        return plus(one, other)
    return Fraction(one) + Fraction(other)


def _square(value: Exact) -> Exact:
    return _times(value, value)
