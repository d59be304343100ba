"""Curves that a calibration assigns: a polynomial between deflection and force, and its way back.

ISO 376 fits the deflection as a polynomial in force, or the force in deflection, up to the third
degree; ASTM E74 goes up to the fifth (both from memory). A value of the polynomial is an exact
fraction. The way back is a root: exact for a straight line, else right to `DIGITS` significant
digits, which a change of sign around it proves.

Choice: one force belongs to one deflection on one branch only, between two turning points of the
polynomial. Of a force in deflection it is the branch through zero deflection, since deflection is
counted from the reading at zero force; of a deflection in force the one that holds the range.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

ZERO = Fraction(0)
# What a root is right to, and what is carried on the way to it.
DIGITS = 40
_CARRIED = 60
FORCE, DEFLECTION = "force", "deflection"


class CurveError(ValueError):
    """A curve that gives no one force for a deflection in its range, or is asked outside it."""


def value_at(coefficients: Sequence[Fraction], x: Fraction) -> Fraction:
    """Return c0 + c1 x + c2 x^2 + ..., exactly.

    Parameters
    ----------
    coefficients : sequence of Fraction
        By rising power, the constant first.
    x : Fraction
        Where.

    Returns
    -------
    Fraction

    Examples
    --------
    >>> value_at([Fraction(1), Fraction(0), Fraction(2)], Fraction(3))
    Fraction(19, 1)
    """
    found = ZERO
    for coefficient in reversed(coefficients):
        found = found * x + coefficient
    return found


def slope_of(coefficients: Sequence[Fraction]) -> list[Fraction]:
    """Return the coefficients of the derivative.

    Parameters
    ----------
    coefficients : sequence of Fraction
        By rising power.

    Returns
    -------
    list of Fraction
    """
    return [power * one for power, one in enumerate(coefficients)][1:]


def told(coefficients: Iterable[Fraction | str | Decimal]) -> list[Fraction]:
    """Return coefficients up to the highest that is not zero.

    Parameters
    ----------
    coefficients : iterable of Fraction, Decimal or str
        By rising power.

    Returns
    -------
    list of Fraction

    Examples
    --------
    >>> told(["0.50", "2", "0.0"]) == told(["0.5", "2"])
    True
    """
    found = [Fraction(one) for one in coefficients]
    while found and not found[-1]:
        found.pop()
    return found


def crossings(coefficients: Sequence[Fraction]) -> list[Fraction]:
    """Return where a polynomial changes its sign, rising; where it only touches zero is left out.

    Between two turning points, and beyond the outer ones up to Cauchy's bound of the roots, it
    crosses zero at most once.

    Parameters
    ----------
    coefficients : sequence of Fraction
        By rising power.

    Returns
    -------
    list of Fraction

    Examples
    --------
    >>> [int(x) for x in crossings([Fraction(n) for n in (-6, 11, -6, 1)])]
    [1, 2, 3]
    """
    whole = told(coefficients)
    if len(whole) < 2:
        return []
    bound = _bound(whole)
    nodes = [-bound, *crossings(slope_of(whole)), bound]
    return [
        root
        for low, high in pairwise(sorted(nodes))
        if (root := _root_between(whole, low, high)) is not None
    ]


@dataclass(frozen=True, slots=True)
class Branch:
    """A polynomial where it only rises, or only falls.

    Parameters
    ----------
    coefficients : tuple of Fraction
        By rising power.
    above, below : Fraction or None
        The turning points between which it lies; None is open.
    """

    coefficients: tuple[Fraction, ...]
    above: Fraction | None
    below: Fraction | None

    def where(self, value: Fraction) -> Fraction | None:
        """Return where it has a value; None where it has it nowhere on this branch.

        Parameters
        ----------
        value : Fraction
            The value of the polynomial.

        Returns
        -------
        Fraction or None
        """
        lowered = told([self.coefficients[0] - value, *self.coefficients[1:]])
        if len(lowered) < 2:
            return None
        bound = _bound(lowered)
        low = -bound if self.above is None else self.above
        high = bound if self.below is None else self.below
        if low > high:
            return None
        for end in (low, high):
            if value_at(lowered, end) == 0:
                return end
        return _root_between(lowered, low, high)


def branch_of(coefficients: Sequence[Fraction], low: Fraction, high: Fraction) -> Branch:
    """Return the branch that holds a range.

    Parameters
    ----------
    coefficients : sequence of Fraction
        By rising power.
    low, high : Fraction
        The ends of the range; equal for one place.

    Returns
    -------
    Branch

    Raises
    ------
    CurveError
        If the polynomial turns inside the range, or at that one place, or has one value only.
    """
    whole = told(coefficients)
    if len(whole) < 2:
        raise CurveError("it has the same value everywhere")
    turns = crossings(slope_of(whole))
    if any(low < one < high or low == one == high for one in turns):
        raise CurveError("it turns inside its range, so that two values have one result")
    above = max((one for one in turns if one <= low), default=None)
    below = min((one for one in turns if one >= high and one != above), default=None)
    return Branch(tuple(whole), above, below)


@dataclass(frozen=True, slots=True)
class AssignedCurve:
    """The curve of a certificate in a range of force.

    Parameters
    ----------
    of : str
        What the polynomial gives: "force" (of the deflection) or "deflection" (of the force).
    coefficients : tuple of Fraction
        By rising power, for forces in the unit of the range.
    low, high : Fraction
        The range of force in which it holds, both ends inside.

    Attributes
    ----------
    branch : Branch
        The polynomial where it only rises, or only falls.

    Raises
    ------
    CurveError
        If it does not give one force for each deflection, and back, in that range.
    """

    of: str
    coefficients: tuple[Fraction, ...]
    low: Fraction
    high: Fraction
    branch: Branch = field(init=False, repr=False, compare=False)

    @classmethod
    def written(
        cls, of: str, coefficients: Iterable[str], ends: Mapping[str, str]
    ) -> AssignedCurve:
        """Return the curve of numbers in text, as a record holds them.

        Parameters
        ----------
        of : str
            What the polynomial gives.
        coefficients : iterable of str
            By rising power.
        ends : mapping of str to str
            The range of force: `from` and `to`.

        Returns
        -------
        AssignedCurve

        Raises
        ------
        CurveError
            As the curve itself.
        """
        numbers = tuple(map(Fraction, coefficients))
        return cls(of, numbers, Fraction(ends["from"]), Fraction(ends["to"]))

    def __post_init__(self) -> None:
        ends = (ZERO, ZERO) if self.of == FORCE else (self.low, self.high)
        branch = branch_of(self.coefficients, *ends)
        object.__setattr__(self, "branch", branch)
        if self.of == FORCE and None in (branch.where(self.low), branch.where(self.high)):
            raise CurveError("from zero deflection on it does not reach the whole range of force")

    def meets(self, deflection: Fraction, force: Fraction) -> bool:
        """Say whether a deflection and a force belong together exactly, and not by a rounded root.

        Parameters
        ----------
        deflection : Fraction
            In the unit of the deflection.
        force : Fraction
            In the unit of the range.

        Returns
        -------
        bool
        """
        given, found = (deflection, force) if self.of == FORCE else (force, deflection)
        return value_at(self.coefficients, given) == found

    def holds(self, force: Fraction) -> bool:
        """Say whether a force lies inside the range.

        Parameters
        ----------
        force : Fraction
            In the unit of the range.

        Returns
        -------
        bool
        """
        return self.low <= force <= self.high

    def deflection_at(self, force: Fraction) -> Fraction:
        """Return the deflection at a force.

        Parameters
        ----------
        force : Fraction
            In the unit of the range.

        Returns
        -------
        Fraction
            In the unit of the deflection.

        Raises
        ------
        CurveError
            If the force lies outside the range.
        """
        if not self.holds(force):
            raise CurveError("outside the range of force in which the curve holds")
        found = self._deflection(force)
        if found is None:  # the ends are on the branch, and so is what lies between
            raise CurveError("not on the curve")
        return found

    def force_at(self, deflection: Fraction) -> Fraction:
        """Return the force at a deflection.

        Parameters
        ----------
        deflection : Fraction
            In the unit of the deflection.

        Returns
        -------
        Fraction
            In the unit of the range.

        Raises
        ------
        CurveError
            If the deflection is none of a force inside the range.
        """
        ends = [one for one in map(self._deflection, (self.low, self.high)) if one is not None]
        found = self.meant_by(deflection) if min(ends) <= deflection <= max(ends) else None
        if found is None:
            raise CurveError("outside the deflections of the range in which the curve holds")
        return found

    def meant_by(self, deflection: Fraction) -> Fraction | None:
        """Return the force at a deflection on this branch, inside the range or beyond it.

        Parameters
        ----------
        deflection : Fraction
            In the unit of the deflection.

        Returns
        -------
        Fraction or None
            None where the branch does not reach it.
        """
        if self.of == FORCE:
            return value_at(self.coefficients, deflection)
        return self.branch.where(deflection)

    def _deflection(self, force: Fraction) -> Fraction | None:
        if self.of == FORCE:
            return self.branch.where(force)
        return value_at(self.coefficients, force)


def _bound(whole: Sequence[Fraction]) -> Fraction:
    """Cauchy's bound: no root is larger in magnitude than 1 + max |c_i / c_n|."""
    return 1 + max(abs(one / whole[-1]) for one in whole[:-1])


def _root_between(whole: Sequence[Fraction], low: Fraction, high: Fraction) -> Fraction | None:
    """The one root between two places where the signs differ; None where they do not.

    Newton's step where it stays in the bracket, else the middle; it ends once the signs differ
    within one unit of the last digit.
    """
    at_low, at_high = value_at(whole, low), value_at(whole, high)
    if at_low * at_high >= 0:
        return None
    if len(whole) == 2:
        return -whole[0] / whole[1]
    if not whole[0] and low < 0 < high:
        return ZERO  # which has no first digit that could be right
    rising, slope, ends = at_high > 0, slope_of(whole), (low, high)
    x = rounded((low + high) / 2, _CARRIED)
    while True:
        value = value_at(whole, x)
        if not value:
            return x
        low, high = (low, x) if (value > 0) == rising else (x, high)
        steep = value_at(slope, x)
        step = rounded(x - value / steep, _CARRIED) if steep else low
        near = min(max(rounded(step, DIGITS), ends[0]), ends[1])
        last = _last_digit(near, DIGITS)
        around = max(near - last, ends[0]), min(near + last, ends[1])
        if [(value_at(whole, one) > 0) == rising for one in around] == [False, True]:
            return near
        x = step if low < step < high else rounded((low + high) / 2, _CARRIED)
        if not low < x < high:
            return near  # nothing is left between the ends


def rounded(x: Fraction, digits: int) -> Fraction:
    """Return the nearest number of so many significant digits.

    Parameters
    ----------
    x : Fraction
        The number.
    digits : int
        How many are kept.

    Returns
    -------
    Fraction

    Examples
    --------
    >>> rounded(Fraction(2, 3), 2)
    Fraction(67, 100)
    """
    last = _last_digit(x, digits)
    return round(x / last) * last


def _last_digit(x: Fraction, digits: int) -> Fraction:
    """One unit of the last of so many significant digits."""
    size = abs(x) or Fraction(1)
    bits = size.numerator.bit_length() - size.denominator.bit_length()
    power = bits * 30_103 // 100_000  # of ten, to the nearest few
    while Fraction(10) ** power > size:
        power -= 1
    while Fraction(10) ** (power + 1) <= size:
        power += 1
    return Fraction(10) ** (power - digits + 1)
