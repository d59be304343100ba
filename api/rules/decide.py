"""Decisions: whether a result conforms, under which rule, and with what risk.

Choice: the verdict is that of exact numbers (`verdicts`). Risks are probabilities, hence floats; a
quantity that does not exist (TUR of one limit, any quotient by u = 0) is None, never NaN or
infinite. A rule with a precondition decides by the branch that `branches.choose` finds; where it
makes no statement no result is accepted, and everything that is known of the result stands anyway.

Both specific risks are given for every result, as what the decision would cost: `consumer` is the
probability that the item does not conform, the risk of accepting it; `producer` the probability
that it conforms, the risk of rejecting it (JCGM 106:2012, 9.3.2 and 9.3.3).

Not checked: that value, U, limits and prior are in the same unit; convert first.
"""

from dataclasses import dataclass
from decimal import Decimal
from math import inf, isfinite
from typing import TYPE_CHECKING

from api.rules.acceptance import Acceptance, Prior, acceptance, refuse_unusable
from api.rules.at_95 import uncertainty_ratio
from api.rules.branches import Branch, choose
from api.rules.exact import FieldError, Number, difference_over, finite, ratio
from api.rules.limits import Limits
from api.rules.reported import REPORTED, as_reported
from api.rules.risk import global_risk, posterior
from api.rules.rule import NO_STATEMENT, Rule
from api.rules.tails import probabilities
from api.rules.verdicts import VERDICTS, breakpoints, moved, reachable, verdict, worst
from api.rules.wording import statement

if TYPE_CHECKING:
    from api.rules.density import Density

__all__ = [
    "VERDICTS",
    "Acceptance",
    "Decision",
    "Prior",
    "acceptance",
    "breakpoints",
    "decide",
    "reachable",
    "verdict",
    "worst",
]


@dataclass(frozen=True, slots=True)
class Decision:
    """Everything that follows from one result, its limits and a rule.

    All quantities are in the unit of the limits, all risks are probabilities.

    Attributes
    ----------
    verdict : str
        One of VERDICTS.
    value, U, k : Decimal or Fraction
        The result with its expanded uncertainty and coverage factor, as given.
    dof : Decimal, Fraction or None
        Degrees of freedom; None is infinitely many.
    limits : Limits
        The tolerance limits.
    acceptance : Acceptance
        The acceptance limits that the rule makes of them; empty where it makes no statement.
    rule : Rule
        The rule that decided.
    branch : Branch
        Which of its branches decided, and why.
    conformance_probability : float
        Probability that the item conforms, p_c (JCGM 106:2012, 7).
    specific_risk : dict
        `consumer` and `producer`: probability that the item does not conform, and that it does
        (JCGM 106:2012, 9.3.2 and 9.3.3).
    tur : Decimal or None
        (T_U - T_L)/(2 U_95); None for one limit or U = 0.
    capability : Decimal or None
        C_m = (T_U - T_L)/(4 u) (JCGM 106:2012, 7.6); None as `tur`.
    global_risk : dict or None
        The fields of GlobalRisk, each a float, or None where it does not exist; None without a
        prior, and where no statement is made.
    posterior : dict or None
        `mean`, `sd` and `risk` after the result; None without a prior.
    statement : str
        The statement of conformity for the certificate.
    density : Density or None
        The shape of a result that is not normal.
    """

    verdict: str
    value: Number
    U: Number
    k: Number
    dof: Number | None
    limits: Limits
    acceptance: Acceptance
    rule: Rule
    branch: Branch
    conformance_probability: float
    specific_risk: dict[str, float]
    tur: Decimal | None
    capability: Decimal | None
    global_risk: dict[str, float | None] | None
    posterior: dict[str, float] | None
    statement: str
    density: "Density | None" = None


def decide(
    value: Number,
    U: Number,
    limits: Limits,
    rule: Rule,
    *,
    k: Number = Decimal(2),
    dof: Number | None = None,
    prior: Prior | None = None,
    density: "Density | None" = None,
    unit: str | None = None,
    results: str | None = None,
    specification: str | None = None,
) -> Decision:
    """Decide one result: value, expanded uncertainty U, limits and prior in one unit.

    Parameters
    ----------
    value : Decimal or Fraction
        The result, unrounded; a rule that decides on reported numbers rounds it and U.
    U : Decimal or Fraction
        Its expanded uncertainty, 0 or more.
    limits : Limits
        The tolerance limits.
    rule : Rule
        The decision rule, for example `BUILT_IN["guard_U"]`.
    k : Decimal or Fraction
        Coverage factor of U, above 0.
    dof : Decimal or Fraction, optional
        Degrees of freedom of U, 1 or more; they make the risks Student's t.
    prior : Prior, optional
        What is known of the items; asks for the global risks and the posterior, which take the
        measurement as normal with u = U/k, whatever dof and density say.
    density : Density, optional
        The shape of a result that is not normal; specific risks, TUR and solved guard bands are
        then of this density. Not with dof.
    unit, results, specification : str, optional
        Words for the statement only: the unit, the results covered, and the requirement with its
        version.

    Returns
    -------
    Decision

    Raises
    ------
    FieldError
        If U is negative, k not positive, dof below 1 or a number not finite.
    RuleError
        If the rule cannot be applied to these limits or without a prior.
    TypeError
        If a number is a float.

    Examples
    --------
    >>> from api.rules.rule import BUILT_IN
    >>> found = decide(Decimal("10.8"), Decimal("0.2"), Limits(Decimal(9), Decimal(11)),
    ...                BUILT_IN["guard_U"])
    >>> found.verdict, found.tur, round(found.specific_risk["consumer"], 5)
    ('pass', Decimal('5'), 0.02275)
    """
    value, U, k = finite(value, "value"), finite(U, "U"), finite(k, "k")
    given = value, U
    if density is not None and dof is not None:
        raise FieldError("/dof", "a density has no degrees of freedom; give those of its rest")
    if rule.decides_on == REPORTED:
        refuse_unusable(U, k, dof)
        value, U = as_reported(value, U)
    alone = rule.precondition is None
    branch = Branch(1, rule) if alone else choose(rule, limits, U, k=k, dof=dof, density=density)
    if branch.rule is None:
        accepted, found = nothing_stated(branch), NO_STATEMENT
    else:
        accepted = acceptance(limits, U, branch.rule, k=k, dof=dof, prior=prior, density=density)
        found = verdict(value, limits, accepted, branch.rule.zones)
    degrees = None if dof is None else float(dof)
    below = distance(limits.lower, value, U, k, -inf)
    above = distance(limits.upper, value, U, k, inf)
    if density is None:
        consumer, conforms = probabilities(below, above, degrees)
    else:
        consumer, conforms = density.probabilities(below, above)
    tur = uncertainty_ratio(limits, U, k, degrees, density)
    usual = degrees is None and density is None
    return Decision(
        verdict=found,
        value=given[0],
        U=given[1],
        k=k,
        dof=dof,
        limits=limits,
        acceptance=accepted,
        rule=rule,
        branch=branch,
        conformance_probability=conforms,
        specific_risk={"consumer": consumer, "producer": conforms},
        tur=tur,
        capability=tur if usual else uncertainty_ratio(limits, U, k),
        global_risk=None
        if prior is None or branch.rule is None
        else _global(limits, accepted, prior, float(ratio(U, k))),
        posterior=None if prior is None else _posterior(value, U, k, limits, prior, consumer),
        density=density,
        statement=statement(
            found,
            limits,
            accepted,
            rule,
            branch=branch,
            value=value,
            U=U,
            k=k,
            dof=dof,
            density=density,
            prior=prior,
            risks=(consumer, conforms),
            unit=unit,
            results=results,
            specification=specification,
        ),
    )


def nothing_stated(branch: Branch) -> Acceptance:
    """Return the acceptance where a rule makes no statement: none, and why."""
    return Acceptance(None, None, None, None, True, f"no statement is made: {branch.reason}")


def _sides(limits: Limits) -> tuple[tuple[Number | None, float], tuple[Number | None, float]]:
    return (limits.lower, -inf), (limits.upper, inf)


def distances(value: Number, U: Number, limits: Limits, k: Number) -> tuple[float, float]:
    """Return (T_L - y)/u and (T_U - y)/u: infinite for no limit, and where u is 0."""
    below = distance(limits.lower, value, U, k, -inf)
    return below, distance(limits.upper, value, U, k, inf)


def distance(limit: Number | None, value: Number, U: Number, k: Number, absent: float) -> float:
    """Return (limit - value)/u, without losing digits before it becomes a float.

    >>> distance(Decimal(11), Decimal("10.8"), Decimal("0.2"), Decimal(2), inf)
    2.0
    """
    if limit is None:
        return absent
    if U == 0:
        # No uncertainty: the limit is infinitely far away, and a value on it is inside.
        inside = limit == value or (limit > value) == (absent > 0)
        return absent if inside else -absent
    return float(difference_over(limit, value, k, U))


def offset(limit: Number | None, value: Number, absent: float) -> float:
    """Return limit - value, without losing digits before it becomes a float."""
    return absent if limit is None else float(moved(limit, value, -1))


def _global(
    limits: Limits, accepted: Acceptance, prior: Prior, u: float
) -> dict[str, float | None]:
    below, above = (offset(limit, prior.mean, side) for limit, side in _sides(limits))
    inner = (1.0, -1.0)
    if not accepted.empty:
        inner = (
            offset(accepted.lower, prior.mean, -inf),
            offset(accepted.upper, prior.mean, inf),
        )
    found = global_risk(below, above, *inner, 0.0, float(prior.sd), u)._asdict()
    return {name: float(risk) if isfinite(risk) else None for name, risk in found.items()}


def _posterior(
    value: Number, U: Number, k: Number, limits: Limits, prior: Prior, consumer: float
) -> dict[str, float]:
    if U == 0:
        # The result is believed, and the step at a limit is the one that exact numbers make.
        return {"mean": float(value), "sd": 0.0, "risk": consumer}
    below, above = (offset(limit, prior.mean, side) for limit, side in _sides(limits))
    shifted = offset(value, prior.mean, 0.0)
    found = posterior(0.0, float(prior.sd), shifted, float(ratio(U, k)), below, above)
    return {
        "mean": float(prior.mean) + float(found.mean),
        "sd": float(found.sd),
        "risk": float(found.risk),
    }
