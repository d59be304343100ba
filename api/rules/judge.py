"""The verdict alone, for many results under one rule.

A recall decides every point twice and needs no risks and no words. Where the guard band is a plain
multiple (none, r x U, a width, a share of the tolerance) the limits are compared in exact Decimals
at once; every other rule, and every number without an end, goes the way of a single decision. Both
ways give the same verdict, which a test holds them to.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Context, Decimal, DivisionByZero, Inexact, InvalidOperation, Overflow
from fractions import Fraction

from api.rules.acceptance import acceptance
from api.rules.decide import reachable, verdict
from api.rules.limits import Limits
from api.rules.rule import Rule, RuleError

Number = Decimal | Fraction
Band = Callable[[Decimal], tuple[Decimal, Decimal]]

_EXACT = Context(prec=1_000, traps=[InvalidOperation, DivisionByZero, Overflow, Inexact])
# Bases whose guard band does not depend on U: a result without U can be judged by them.
WITHOUT_U = ("none", "absolute", "tolerance")


class Judge:
    """Verdicts under one rule; a None limit is absent."""

    __slots__ = ("_band", "_binary", "rule")

    def __init__(self, rule: Rule) -> None:
        self.rule = rule
        self._band = _band_of(rule)
        self._binary = rule.zones == 2

    def verdict(
        self,
        value: Number,
        U: Number | None,
        lower: Decimal | None,
        upper: Decimal | None,
        k: Decimal,
        dof: Decimal | None = None,
    ) -> str | None:
        """Verdict of one result, or None where the rule says nothing about it.

        It says nothing without limits, without the U that its guard band is made of, and where its
        guard band does not exist (a ratio rule under one-sided limits).
        """
        if lower is None and upper is None:
            return None
        if U is None:
            if self.rule.guard.basis not in WITHOUT_U:
                return None
            U = Decimal(0)
        if self._band is None or type(value) is not Decimal or type(U) is not Decimal:
            found = self.verdicts(value, value, U, lower, upper, k, dof)
            return found[0] if found else None
        below, above = self._band(U)
        least = None if lower is None else _EXACT.add(lower, below)
        most = None if upper is None else _EXACT.subtract(upper, above)
        # Crossed acceptance limits let nothing pass, which the two comparisons see to.
        if (least is None or value >= least) and (most is None or value <= most):
            return "pass"
        return "fail" if self._binary else _lower_zone(value, lower, upper, below, above)

    def verdicts(
        self,
        least: Number,
        most: Number,
        U: Number | None,
        lower: Decimal | None,
        upper: Decimal | None,
        k: Decimal,
        dof: Decimal | None = None,
    ) -> tuple[str, ...]:
        """Every verdict that a value from `least` to `most` can have, best first."""
        if lower is None and upper is None:
            return ()
        if U is None:
            if self.rule.guard.basis not in WITHOUT_U:
                return ()
            U = Decimal(0)
        limits = Limits(lower, upper)
        try:
            accepted = acceptance(limits, U, self.rule, k=k, dof=dof, number=Fraction)
        except RuleError:
            return ()
        if least == most:
            return (verdict(Fraction(least), limits, accepted, self.rule.zones),)
        return reachable(least, most, limits, accepted, self.rule.zones)


def _band_of(rule: Rule) -> Band | None:
    """Return what makes (w_lower, w_upper) for this rule, or None if it is not a plain multiple."""
    guard = rule.guard
    zero = Decimal(0)
    if guard.basis == "none":
        return lambda U: (zero, zero)
    if guard.basis == "U" and guard.factor == 1:
        return lambda U: (U, U)
    if guard.factor is not None:
        factor = guard.factor
        return lambda U: (_EXACT.multiply(factor, U),) * 2
    if guard.width is not None:
        width = guard.width
        return lambda U: width
    return None


def _lower_zone(
    value: Decimal,
    lower: Decimal | None,
    upper: Decimal | None,
    below: Decimal,
    above: Decimal,
) -> str:
    """Zone of a result that does not pass, under a rule with four."""
    if (lower is None or value >= lower) and (upper is None or value <= upper):
        return "conditional_pass"
    least = None if lower is None else _EXACT.subtract(lower, below)
    most = None if upper is None else _EXACT.add(upper, above)
    if (least is None or value >= least) and (most is None or value <= most):
        return "conditional_fail"
    return "fail"
