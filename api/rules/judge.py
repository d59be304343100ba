"""The verdict alone, for many results under one rule.

A recall decides every point twice and needs no risks and no words. What a rule makes of one pair of
limits and one U is a ruling, which serves every result that has the same. Where the guard band is a
plain multiple (none, r x U, a width, a share of the tolerance) values are compared with it in exact
Decimals at once; every other rule, and every number without an end, goes the way of a single
decision. Both ways give the same verdict, which a test holds them to. A rule with a precondition
has a judge for each branch; which one is asked depends on limits and U, so it may change with U.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Context, Decimal, DivisionByZero, Inexact, InvalidOperation, Overflow
from fractions import Fraction
from typing import NamedTuple

from api.rules.acceptance import Acceptance, acceptance
from api.rules.branches import Branch, branches, choose
from api.rules.limits import Limits
from api.rules.reported import REPORTED, place_of, reported_U, rounded_to
from api.rules.rule import NO_STATEMENT, Rule, RuleError
from api.rules.verdicts import ZONES, breakpoints, reachable, verdict

Number = Decimal | Fraction
Band = Callable[[Decimal], tuple[Decimal, Decimal]]
Zone = tuple[str, Decimal, Decimal]

_EXACT = Context(prec=1_000, traps=[InvalidOperation, DivisionByZero, Overflow, Inexact])
# Bases whose guard band does not depend on U: a result without U can be judged by them.
WITHOUT_U = ("none", "absolute", "tolerance")
ZERO = Decimal(0)
# An absent limit is one that no value passes.
_NO_LOWER, _NO_UPPER = Decimal("-Infinity"), Decimal("Infinity")
_ANYTHING = ("fail", _NO_LOWER, _NO_UPPER)
_NOTHING_STATED: tuple[Zone, ...] = ((NO_STATEMENT, _NO_LOWER, _NO_UPPER),)


class Judge:
    """Makes the rulings of one rule.

    Parameters
    ----------
    rule : Rule
        The decision rule.
    """

    __slots__ = ("_band", "_branches", "rule")

    def __init__(self, rule: Rule) -> None:
        self.rule = rule
        self._band = _band_of(rule)
        self._branches: tuple[Judge | None, ...] = ()
        if rule.precondition is not None:
            self._branches = tuple(None if one is None else Judge(one) for one in branches(rule))

    def ruling(
        self,
        U: Number | None,
        lower: Decimal | None,
        upper: Decimal | None,
        k: Decimal,
        dof: Decimal | None = None,
    ) -> Ruling | None:
        """Return what the rule makes of these limits and U.

        Parameters
        ----------
        U : Decimal, Fraction or None
            Expanded uncertainty, 0 or more, in the unit of the limits; None if it is not known.
        lower, upper : Decimal or None
            The tolerance limits; None is absent.
        k : Decimal
            Coverage factor of U, above 0.
        dof : Decimal, optional
            Degrees of freedom of U, 1 or more.

        Returns
        -------
        Ruling or None
            None where the rule says nothing: without limits, or without the U that its guard band
            is made of. With a precondition: without U or with one limit only.
        """
        if lower is None and upper is None:
            return None
        place = None
        if self.rule.decides_on == REPORTED:
            if U is None:
                return None
            U = reported_U(U)
            place = place_of(U)
        if self._branches:
            return self._chosen(U, lower, upper, k, dof)
        if U is None:
            if self.rule.guard.basis not in WITHOUT_U:
                return None
            U = ZERO
        zones: tuple[Zone, ...] = ()
        if self._band is not None and type(U) is Decimal:
            zones = self._zones(self._band(U), lower, upper)
        return Ruling(self, U, lower, upper, k, dof, zones, None, place)

    def _chosen(
        self,
        U: Number | None,
        lower: Decimal | None,
        upper: Decimal | None,
        k: Decimal,
        dof: Decimal | None,
    ) -> Ruling | None:
        """Return the ruling of the branch that decides for these limits and U."""
        if U is None or lower is None or upper is None:
            return None
        branch = choose(self.rule, Limits(lower, upper), U, k=k, dof=dof)
        judge = self._branches[branch.number - 1]
        if judge is None:
            return Ruling(self, U, lower, upper, k, dof, _NOTHING_STATED, branch)
        found = judge.ruling(U, lower, upper, k, dof)
        return None if found is None else found._replace(judge=self, branch=branch)

    def _zones(
        self, band: tuple[Decimal, Decimal], lower: Decimal | None, upper: Decimal | None
    ) -> tuple[Zone, ...]:
        below, above = band
        least = _NO_LOWER if lower is None else lower
        most = _NO_UPPER if upper is None else upper
        passing = ("pass", _EXACT.add(least, below), _EXACT.subtract(most, above))
        if self.rule.zones == 2:
            return (passing,)
        outer = ("conditional_fail", _EXACT.subtract(least, below), _EXACT.add(most, above))
        return (passing, ("conditional_pass", least, most), outer)


class Ruling(NamedTuple):
    """A rule applied to one pair of limits and one U.

    Attributes
    ----------
    judge : Judge
        Who made it.
    U : Decimal or Fraction
        Expanded uncertainty, in the unit of the limits.
    lower, upper : Decimal or None
        The tolerance limits.
    k : Decimal
        Coverage factor of U.
    dof : Decimal or None
        Degrees of freedom of U.
    zones : tuple
        What passes, best first, each (verdict, lowest, highest) within the next; none where the
        guard band is no plain multiple. One whose ends cross holds nothing.
    branch : Branch or None
        Which branch of the rule decides, and why; None for a rule without precondition.
    place : int or None
        Exponent of the place that values are rounded to before they are judged; None for a rule
        that decides on unrounded numbers.
    """

    judge: Judge
    U: Number
    lower: Decimal | None
    upper: Decimal | None
    k: Decimal
    dof: Decimal | None
    zones: tuple[Zone, ...]
    branch: Branch | None = None
    place: int | None = None

    def verdict(self, value: Number) -> str | None:
        """Return the verdict of a value.

        Parameters
        ----------
        value : Decimal or Fraction
            The result, unrounded, in the unit of the limits.

        Returns
        -------
        str or None
            One of VERDICTS, or None where the guard band does not exist, as under a ratio rule with
            one limit.

        Raises
        ------
        FieldError
            If U, k or dof is out of range; seen only where the guard band is no plain multiple.
        """
        if self.place is not None:
            value = rounded_to(value, self.place)
        if not self.zones or type(value) is not Decimal:
            found = self.verdicts(value, value)
            return found[0] if found else None
        for name, least, most in self.zones:
            if least <= value <= most:
                return name
        return "fail"

    def verdicts(self, least: Number, most: Number) -> tuple[str, ...]:
        """Return every verdict that a value from `least` to `most` can have, best first.

        Parameters
        ----------
        least, most : Decimal or Fraction
            The ends of the interval, in the unit of the limits, in this order.

        Returns
        -------
        tuple of str
            Members of VERDICTS; empty where the guard band does not exist.

        Raises
        ------
        FieldError
            As `verdict`.
        """
        place = None if least == most else self.place
        if self.place is not None and place is None:
            least = most = rounded_to(least, self.place)
        if place is None and self.zones and type(least) is Decimal and type(most) is Decimal:
            return self._met(least, most)
        rule = self.judge.rule if self.branch is None else self.branch.rule
        if rule is None:
            return (NO_STATEMENT,)
        limits = Limits(self.lower, self.upper)
        try:
            accepted = acceptance(limits, self.U, rule, k=self.k, dof=self.dof, number=Fraction)
        except RuleError:
            return ()
        if place is not None:
            return _of_rounded(place, least, most, limits, accepted, rule.zones)
        if least == most:
            return (verdict(Fraction(least), limits, accepted, rule.zones),)
        return reachable(least, most, limits, accepted, rule.zones)

    def _met(self, least: Decimal, most: Decimal) -> tuple[str, ...]:
        """Zones of which some part that is in no better zone lies between two values."""
        found: list[str] = []
        better: tuple[Decimal, Decimal] | None = None
        for name, low, high in (*self.zones, _ANYTHING):
            first, last = max(least, low), min(most, high)
            inside = better is not None and better[0] <= first and last <= better[1]
            if first <= last and not inside:
                found.append(name)
            if low <= high:
                better = low, high
        return tuple(found)

    def with_U(self, U: Number) -> Ruling | None:
        """Return the ruling of the same rule and limits for another U.

        Parameters
        ----------
        U : Decimal or Fraction
            Expanded uncertainty, in the unit of the limits.

        Returns
        -------
        Ruling or None
        """
        return self.judge.ruling(U, self.lower, self.upper, self.k, self.dof)


def _of_rounded(
    place: int, least: Number, most: Number, limits: Limits, accepted: Acceptance, zones: int
) -> tuple[str, ...]:
    """Return the verdicts of all rounded values between two: those beside an edge."""
    first, last = (Fraction(rounded_to(end, place)) for end in (least, most))
    step = Fraction(10) ** place
    values = {first, last}
    for edge in breakpoints(limits, accepted, zones):
        below = Fraction(edge) // step * step
        values |= {below + n * step for n in (-1, 0, 1, 2)}
    found = {verdict(one, limits, accepted, zones) for one in values if first <= one <= last}
    return tuple(name for name in ZONES if name in found)


def _band_of(rule: Rule) -> Band | None:
    """Return what makes (w_lower, w_upper) for this rule, or None if it is not a plain multiple."""
    guard = rule.guard
    if guard.basis == "none":
        return lambda U: (ZERO, ZERO)
    if guard.basis == "U" and guard.factor == 1:
        return lambda U: (U, U)
    if guard.factor is not None:
        factor = guard.factor
        return lambda U: (_EXACT.multiply(factor, U),) * 2
    if guard.width is not None:
        width = guard.width
        return lambda U: width
    return None
