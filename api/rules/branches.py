"""Which branch of a rule decides a result, and why: the one place where a precondition is judged.

A rule without precondition is its own only branch. Otherwise the preconditions of the chain are
asked in order; the first that holds gives the branch, and where none holds the last rule decides,
if it has no precondition, or no statement is made. The ratios are those of `precondition`, compared
as exact products; `holds` says it for one result, `branch_columns` the same for columns of floats.

Not checked: limits and U against each other's unit.
"""

from dataclasses import dataclass, replace
from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from api.rules.acceptance import refuse_unusable
from api.rules.at_95 import uncertainty_at_95
from api.rules.exact import Number, finite, plain, ratio
from api.rules.limits import Limits
from api.rules.precondition import KINDS, Precondition, ratio_text
from api.rules.reported import REPORTED, reported_U
from api.rules.rule import Rule, RuleError

if TYPE_CHECKING:
    from api.rules.density import Density

# Digits of a ratio in a reason: the first count that does not contradict the comparison. Numbers
# have a thousand places at most, so the last one always tells two ratios apart.
_DIGITS = (4, 8, 16, 50, 200, 1000, 8000)


@dataclass(frozen=True, slots=True)
class Check:
    """One precondition, asked of one result.

    Attributes
    ----------
    precondition : Precondition
        What was asked.
    ratio : Decimal or None
        TUR or U/T to 50 digits; None where it has no bound.
    holds : bool
        By the unrounded numbers.
    reason : str
        The ratio against its limit, in words.
    """

    precondition: Precondition
    ratio: Decimal | None
    holds: bool
    reason: str

    def to_mapping(self) -> dict[str, object]:
        """Return the JSON form.

        Returns
        -------
        dict of str to object
            The limit and the `ratio` as text, whether it `holds`, and the `reason`.
        """
        found = None if self.ratio is None else plain(self.ratio)
        asked = self.precondition.to_mapping()
        return {**asked, "ratio": found, "holds": self.holds, "reason": self.reason}


class Branch(NamedTuple):
    """What decides a result.

    Parameters
    ----------
    number : int
        Its place in the chain, from 1.
    rule : Rule or None
        Guard band and zones, without precondition; None where no statement is made.
    checks : tuple of Check
        The preconditions that were asked, in order; none for a rule without.
    """

    number: int
    rule: Rule | None
    checks: tuple[Check, ...] = ()

    @property
    def reason(self) -> str:
        """Why this branch decides: every ratio that was asked against its limit."""
        return " and ".join(check.reason for check in self.checks)


@lru_cache(maxsize=1024)
def branches(rule: Rule) -> tuple[Rule | None, ...]:
    """Return what decides in each branch, without precondition; None makes no statement.

    >>> from api.rules.rule import rule_from_mapping
    >>> tur = {"least_tur": "4"}
    >>> rule = rule_from_mapping({"guard": {"basis": "none"}, "precondition": tur})
    >>> [None if one is None else one.guard.basis for one in branches(rule)]
    ['none', None]
    """
    chain = tuple(rule.chain())
    plain_rules = [
        replace(one, precondition=None, otherwise=None, decides_on=rule.decides_on) for one in chain
    ]
    return (*plain_rules, *([] if chain[-1].precondition is None else [None]))


def choose(
    rule: Rule,
    limits: Limits,
    U: Number,
    *,
    k: Number = Decimal(2),
    dof: Number | None = None,
    density: "Density | None" = None,
) -> Branch:
    """Return the branch of a rule that decides a result with these limits and this U.

    Parameters
    ----------
    rule : Rule
        The decision rule.
    limits : Limits
        The tolerance limits.
    U : Decimal or Fraction
        Expanded uncertainty, in the unit of the limits, 0 or more.
    k : Decimal or Fraction
        Coverage factor of U, above 0.
    dof : Decimal or Fraction, optional
        Degrees of freedom of U, 1 or more.
    density : Density, optional
        The shape of a result that is not normal.

    Returns
    -------
    Branch

    Raises
    ------
    FieldError
        If U is negative, k not positive, dof below 1 or a number not finite.
    RuleError
        If the rule has a precondition and a limit is absent.

    Examples
    --------
    TUR = (11 - 9)/(2 x 0.25) = 4, and 2/(2 x 0.2501) is below 4:

    >>> from api.rules.rule import rule_from_mapping
    >>> tur = {"least_tur": "4"}
    >>> rule = rule_from_mapping(
    ...     {"guard": {"basis": "none"}, "precondition": tur, "otherwise": "guard_U"})
    >>> limits = Limits(Decimal(9), Decimal(11))
    >>> for U in (Decimal("0.25"), Decimal("0.2501")):
    ...     found = choose(rule, limits, U)
    ...     print(found.number, found.rule.guard.basis, found.reason)
    1 none TUR 4 is at least 4
    2 U TUR 3.998 is below 4
    """
    if rule.precondition is None:
        return Branch(1, rule)
    U, k = finite(U, "U"), finite(k, "k")
    refuse_unusable(U, k, dof)
    if rule.decides_on == REPORTED:
        U = reported_U(U)
    checks: list[Check] = []
    for one in rule.chain():
        if one.precondition is None:
            break
        check = _asked(one.precondition, limits, U, k, dof, density)
        checks.append(check)
        if check.holds:
            return Branch(len(checks), branches(rule)[len(checks) - 1], tuple(checks))
    return Branch(len(checks) + 1, branches(rule)[len(checks)], tuple(checks))


def holds(
    asked: Precondition,
    limits: Limits,
    U: Number,
    k: Number,
    dof: Number | None = None,
    density: "Density | None" = None,
) -> bool:
    """Say whether a precondition holds, by products of exact numbers; equality holds.

    TUR >= t: T_U - T_L >= 2 t U_95. U/T <= r: 2 U <= r (T_U - T_L). Raises RuleError where a limit
    is absent.
    """
    if limits.lower is None or limits.upper is None:
        raise RuleError(
            f"/precondition/{asked.kind}",
            f"a precondition on {KINDS[asked.kind][0]} needs both limits, and one is absent; give "
            "the other one too (0 for what cannot be negative), or use a rule without it",
        )
    span = Fraction(limits.upper) - Fraction(limits.lower)
    if asked.kind == "least_tur":
        U_95, divisor = uncertainty_at_95(U, k, None if dof is None else float(dof), density)
        return span * Fraction(divisor) >= 2 * asked.limit * Fraction(U_95)
    return 2 * Fraction(U) <= asked.limit * span


def _asked(
    asked: Precondition,
    limits: Limits,
    U: Number,
    k: Number,
    dof: Number | None,
    density: "Density | None",
) -> Check:
    found = holds(asked, limits, U, k, dof, density)
    exact = _ratio(asked, limits, U, k, dof, density)
    shown = None if exact is None else ratio(exact, Fraction(1))
    name, words = KINDS[asked.kind]
    if exact is None:
        why = "U is 0" if U == 0 else "the tolerance interval is 0 wide"
        return Check(asked, shown, found, f"{name} has no bound, because {why}")
    if not found:
        words = "below" if asked.kind == "least_tur" else "above"
    text = _written(exact, asked, found)
    return Check(asked, shown, found, f"{name} {text} is {words} {ratio_text(asked.limit)}")


def _ratio(
    asked: Precondition,
    limits: Limits,
    U: Number,
    k: Number,
    dof: Number | None,
    density: "Density | None",
) -> Fraction | None:
    """Return the ratio itself, to be shown; None where its divisor is 0."""
    if limits.lower is None or limits.upper is None:
        return None
    span = Fraction(limits.upper) - Fraction(limits.lower)
    if asked.kind == "least_tur":
        U_95, divisor = uncertainty_at_95(U, k, None if dof is None else float(dof), density)
        return span * Fraction(divisor) / (2 * Fraction(U_95)) if U else None
    return 2 * Fraction(U) / span if span else None


def _written(exact: Fraction, asked: Precondition, found: bool) -> str:
    """Round a ratio for reading, with more digits where fewer would contradict the comparison."""
    for digits in _DIGITS:
        context = Context(prec=digits, rounding=ROUND_HALF_EVEN)
        short = context.divide(Decimal(exact.numerator), Decimal(exact.denominator))
        value = Fraction(short)
        within = value >= asked.limit if asked.kind == "least_tur" else value <= asked.limit
        if within == found:
            break
    return format(context.normalize(short), "f")
