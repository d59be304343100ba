"""Guard bands of every basis, and the acceptance limits they leave: what a result may be.

Choice: acceptance limits are the tolerance limits moved inwards by the guard band w (JCGM
106:2012, 8.3; ILAC-G8:09/2019, 4.2.2), outwards where w is negative. They are exact; only a w that
comes from a root, a logarithm or a solved risk is rounded, to 50 or 15 digits.

SciPy is imported by the functions that solve for a risk or read Student's t, and not before: most
rules are plain arithmetic, and a recall is to be answered while SciPy would still be loading.

Not checked: that U contains every contribution that the rule's author had in mind.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import inf, isnan, nan
from typing import TYPE_CHECKING, Generic

from api.rules.at_95 import uncertainty_at_95, uncertainty_ratio
from api.rules.exact import (
    FieldError,
    N,
    Number,
    coerce,
    exact_arithmetic,
    exponential,
    fifty_digits,
    finite,
    from_float,
    power,
    ratio,
    square_root,
)
from api.rules.guard import Step
from api.rules.limits import Limits
from api.rules.rule import Guard, Rule, RuleError

if TYPE_CHECKING:
    from api.rules.density import Density

# From memory, verify: Dobbert's managed guard band (Z540.3 Handbook, method 6),
# M = 1.04 - exp(0.38 ln TUR - 0.54).
MANAGED_CONSTANTS = (Decimal("1.04"), Decimal("0.38"), Decimal("-0.54"))

_TOO_WIDE = "the guard band is wider than half the tolerance interval, so no result can pass"


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of such items before the measurement: normal, in the unit of the limits.

    Parameters
    ----------
    mean, sd : Decimal or Fraction
        Mean and standard deviation, in the unit of the limits; sd is 0 or more.

    Raises
    ------
    FieldError
        If a number is not finite or sd is negative.
    TypeError
        If a number is a float.
    """

    mean: Number
    sd: Number

    def __post_init__(self) -> None:
        object.__setattr__(self, "mean", finite(self.mean, "mean"))
        object.__setattr__(self, "sd", finite(self.sd, "sd"))
        if self.sd < 0:
            raise FieldError("/sd", "sd must not be negative")


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Acceptance limits A_L and A_U and the guard bands w that made them.

    Attributes
    ----------
    lower, upper : Decimal, Fraction or None
        The limits, in the unit of the tolerance limits; None where the tolerance has none on that
        side. Where the interval is empty they are as calculated, crossed over, or None where the
        rule gives none.
    guard_lower, guard_upper : Decimal, Fraction or None
        w on either side, positive inwards; None for an absent limit.
    empty : bool
        Whether no result passes.
    reason : str or None
        Why it is empty.
    """

    lower: Number | None
    upper: Number | None
    guard_lower: Number | None
    guard_upper: Number | None
    empty: bool = False
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class _Case(Generic[N]):
    """One result's rule inputs, all of one exact type."""

    number: type[N]
    lower: N | None
    upper: N | None
    U: N
    k: N
    dof: float | None
    prior: Prior | None
    density: "Density | None" = None

    def width(self, basis: str) -> N:
        """Return T_U - T_L, or refuse a basis that has no meaning for one limit."""
        if self.lower is None or self.upper is None:
            raise RuleError(
                "/guard/basis",
                f"basis {basis!r} needs both limits, and one is absent; "
                "use basis 'U', 'absolute' or 'specific_risk'",
            )
        return self.upper - self.lower

    def half_width(self, basis: str) -> N:
        """Return (T_U - T_L) / 2, exactly."""
        return self.width(basis) * coerce(Decimal("0.5"), self.number)


def acceptance(
    limits: Limits,
    U: Number,
    rule: Rule,
    *,
    k: Number = Decimal(2),
    dof: Number | None = None,
    prior: Prior | None = None,
    density: "Density | None" = None,
    number: type[Decimal] | type[Fraction] = Decimal,
) -> Acceptance:
    """Return the acceptance interval of `rule` for limits and an expanded uncertainty U.

    Parameters
    ----------
    limits : Limits
        The tolerance limits.
    U : Decimal or Fraction
        Expanded uncertainty, in the unit of the limits, 0 or more.
    rule : Rule
        The decision rule; of one with a precondition a branch (`branches.choose`).
    k : Decimal or Fraction
        Coverage factor of U, above 0.
    dof : Decimal or Fraction, optional
        Degrees of freedom of U, 1 or more; infinite unless given.
    prior : Prior, optional
        What is known of the items; the basis `global_risk` needs it.
    density : Density, optional
        The shape of a result that is not normal; then without dof.
    number : type
        Fraction asks for an answer in Fractions; it comes in Fractions too where limits, U, k or
        prior hold one, else in Decimals.

    Returns
    -------
    Acceptance

    Raises
    ------
    FieldError
        If U is negative, k not positive, dof below 1 or a number not finite.
    RuleError
        If the rule cannot be applied: one limit where it needs two, no prior or one without spread.
    TypeError
        If U, k or dof is a float.
    ValueError
        If the rule has a precondition.

    Examples
    --------
    >>> limits = Limits(Decimal(9), Decimal(11))
    >>> found = acceptance(limits, Decimal("0.2"), Rule(guard=Guard("U", factor=Decimal("0.83"))))
    >>> found.lower, found.upper, found.guard_upper
    (Decimal('9.166'), Decimal('10.834'), Decimal('0.166'))
    """
    if rule.precondition is not None:
        raise ValueError("a rule with a precondition has several guard bands; choose its branch")
    U, k = finite(U, "U"), finite(k, "k")
    refuse_unusable(U, k, dof)
    fractions = number is Fraction or not (
        isinstance(U, Decimal)
        and isinstance(k, Decimal)
        and (limits.lower is None or isinstance(limits.lower, Decimal))
        and (limits.upper is None or isinstance(limits.upper, Decimal))
        and (prior is None or (isinstance(prior.mean, Decimal) and isinstance(prior.sd, Decimal)))
    )
    degrees = None if dof is None else float(dof)
    with exact_arithmetic():
        if fractions:
            return _accept(_case(Fraction, limits, U, k, degrees, prior, density), rule)
        return _accept(_case(Decimal, limits, U, k, degrees, prior, density), rule)


def refuse_unusable(U: Number, k: Number, dof: Number | None) -> None:
    """Refuse an uncertainty that nothing can be decided with; U and k are finite.

    Raises FieldError if U is negative, k not positive, or dof below 1 or not finite.
    """
    if U < 0:
        raise FieldError("/U", "U must not be negative")
    if k <= 0:
        raise FieldError("/k", "k must be greater than 0")
    if dof is not None and not finite(dof, "dof") >= 1:
        raise FieldError("/dof", "dof must be 1 or more")


def _case(
    number: type[N],
    limits: Limits,
    U: Number,
    k: Number,
    dof: float | None,
    prior: Prior | None,
    density: "Density | None",
) -> _Case[N]:
    lower = None if limits.lower is None else coerce(limits.lower, number)
    upper = None if limits.upper is None else coerce(limits.upper, number)
    return _Case(number, lower, upper, coerce(U, number), coerce(k, number), dof, prior, density)


def _accept(case: _Case[N], rule: Rule) -> Acceptance:
    bands, reason = _guard_bands(case, rule)
    w_l, w_u = bands
    guard_l = None if case.lower is None else w_l
    guard_u = None if case.upper is None else w_u
    if reason is not None:
        return Acceptance(None, None, guard_l, guard_u, empty=True, reason=reason)
    lower = None if case.lower is None else case.lower + w_l
    upper = None if case.upper is None else case.upper - w_u
    empty = lower is not None and upper is not None and lower > upper
    return Acceptance(lower, upper, guard_l, guard_u, empty, _TOO_WIDE if empty else None)


def _guard_bands(case: _Case[N], rule: Rule) -> tuple[tuple[N, N], str | None]:
    """Return (w_lower, w_upper) and, where the rule allows no acceptance at all, the reason.

    With a reason w is half the tolerance width: the value the rule tends to just before.
    """
    guard = rule.guard
    if guard.width is not None:
        lower, upper = guard.width
        return (coerce(lower, case.number), coerce(upper, case.number)), None
    if guard.basis == "none":
        return (case.number(0), case.number(0)), None
    if guard.factor is not None:
        w = coerce(guard.factor, case.number) * case.U
        return (w, w), None
    if guard.share is not None:
        w = coerce(guard.share, case.number) * case.half_width(guard.basis)
        return (w, w), None
    if guard.steps is not None:
        w = _from_table(case, guard.steps)
        return (w, w), None
    w, reason = _formula(case, guard)
    return (w, w), reason


def _from_table(case: _Case[N], steps: tuple[Step, ...]) -> N:
    """Return w of the last step whose TUR is reached, by products; where U is 0 all are."""
    span = Fraction(case.width("tur_table"))
    U_95, divisor = uncertainty_at_95(case.U, case.k, case.dof, case.density)
    # TUR >= t: T_U - T_L >= 2 t U_95. The first step begins at 0 and is always reached.
    reached = [
        step
        for step in steps
        if span * Fraction(divisor) >= 2 * Fraction(step.from_tur) * Fraction(U_95)
    ]
    step = reached[-1]
    if step.factor is not None:
        return coerce(step.factor, case.number) * case.U
    return coerce(step.size, case.number) * case.half_width("tur_table")


def _formula(case: _Case[N], guard: Guard) -> tuple[N, str | None]:
    if guard.target is None:
        case.width(guard.basis)
        limits = Limits(case.lower, case.upper)
        tur = uncertainty_ratio(limits, case.U, case.k, case.dof, case.density)
        if tur is None:
            return case.number(0), None
        return _managed(case, tur) if guard.basis == "managed" else _root_difference(case, tur)
    if guard.basis == "global_risk":
        return _global(case, float(guard.target))
    return _specific(case, float(guard.target))


def _managed(case: _Case[N], tur: Decimal) -> tuple[N, str | None]:
    """Managed: w = M U_95, M = 1.04 - exp(0.38 ln TUR - 0.54), not below 0 (TUR above 4.6)."""
    ceiling, exponent, constant = MANAGED_CONSTANTS
    # exp(a ln TUR + b) = TUR**a exp(b); ln has no value at TUR = 0, the power has.
    share = ceiling - exponential(constant) * (power(tur, exponent) if tur else Decimal(0))
    U_95, divisor = uncertainty_at_95(case.U, case.k, case.dof, case.density)
    M = fifty_digits(max(Decimal(0), share))
    U_95, divisor = (coerce(one, case.number) for one in (U_95, divisor))
    return _times_quotient(M, U_95, divisor, case.number), None


def _root_difference(case: _Case[N], tur: Decimal) -> tuple[N, str | None]:
    """Acceptance half-width K L with K = sqrt(1 - 1/TUR^2), so w = (1 - K) L."""
    half = case.half_width("rds")
    if tur < 1:
        return half, (
            "the test uncertainty ratio is below 1, where the root-difference-of-squares rule "
            "has no acceptance limit, so no result can pass"
        )
    share = square_root(1 - ratio(Decimal(1), tur * tur))
    return half - coerce(share, case.number) * half, None


def _specific(case: _Case[N], target: float) -> tuple[N, str | None]:
    """Specific risk: w = z u, z solved for the risk of a result on an acceptance limit."""
    if case.U == 0:
        return case.number(0), None
    relative = inf
    if case.lower is not None and case.upper is not None:
        relative = float(ratio((case.upper - case.lower) * case.k, case.U))
    z = _solved(target, relative, case)
    if isnan(z):
        return case.half_width("specific_risk"), (
            "even a result in the middle of the tolerance interval has a greater specific risk "
            "than the target, so no result can pass"
        )
    return _times_quotient(from_float(z), case.U, case.k, case.number), None


def _solved(target: float, relative: float, case: _Case[N]) -> float:
    """Return w/u for a target, NaN where no result has so small a risk."""
    if case.density is not None:
        found = case.density.band(target, relative)
        return nan if found is None else found
    from api.rules.solve import band_for_specific_risk

    return float(band_for_specific_risk(target, relative, case.dof))


def _global(case: _Case[N], target: float) -> tuple[N, str | None]:
    """Global risk: w solved for the consumer's; relative to the prior sd while it is solved."""
    prior = case.prior
    if prior is None:
        raise RuleError("/guard/basis", "basis 'global_risk' needs a prior: give its mean and sd")
    if prior.sd == 0:
        raise RuleError("/guard/basis", "basis 'global_risk' needs a prior with an sd above 0")
    if case.U == 0:
        return case.number(0), None
    from api.rules.solve import band_for_global_risk

    mean, sd = Fraction(prior.mean), Fraction(prior.sd)
    lower, upper = (
        unbounded if limit is None else float(ratio(Fraction(limit) - mean, sd))
        for limit, unbounded in ((case.lower, -inf), (case.upper, inf))
    )
    u = float(ratio(Fraction(case.U) / Fraction(case.k), sd))
    band = float(band_for_global_risk(target, lower, upper, u))
    if band == 0:
        return case.number(0), None
    return coerce(from_float(band), case.number) * coerce(prior.sd, case.number), None


def _times_quotient(factor: Decimal, numerator: N, denominator: N, number: type[N]) -> N:
    """Return factor * numerator / denominator: exact in Fractions, to 50 digits in Decimals."""
    product = coerce(factor, number) * numerator
    if number is Fraction:
        return product / denominator
    return coerce(ratio(product, denominator), number)
