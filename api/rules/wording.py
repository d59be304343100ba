"""Wording: what the certificate may say about conformity.

Choice: one paragraph that names the results covered, the specification and whether it is met, and
the decision rule applied (ISO/IEC 17025:2017, 7.8.6.2); guard band, U and k are named with their
values, and the specific risk where the rule is not prescribed by a regulation, a standard or the
customer (7.8.6.1 asks for no more where it is). U is rounded up to two digits; guard bands and
acceptance limits to the stricter side, two places below those, and further only where the range
would else seem to hold nothing, or not the result that passed. The decision used all digits, so
that U is named as it was before where rounding changed it.

Not checked: that the wording suits the accreditation body or the customer's contract.
"""

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from api.rules.acceptance import Acceptance, Prior
from api.rules.branches import Branch
from api.rules.exact import Number, plain
from api.rules.guard import Step
from api.rules.limits import Limits
from api.rules.printed import (
    LEAST_PLACE,
    factor_text,
    percent,
    place_of,
    quantity,
    rounded,
    uncertainty,
)
from api.rules.reported import REPORTED
from api.rules.rule import NO_STATEMENT, Guard, Rule

if TYPE_CHECKING:
    from api.rules.density import Density

_OUTCOMES = {
    "pass": "is met",
    "conditional_pass": (
        "is met on condition: the result lies inside the tolerance limits, "
        "but within the guard band of one"
    ),
    "conditional_fail": (
        "is not met on condition: the result lies outside the tolerance limits, "
        "by no more than the guard band"
    ),
    "fail": "is not met",
}

_GUARDS = {
    "none": "simple acceptance, no guard band",
    "U": "guard band w = {factor}U",
    "absolute": "guard band w of a fixed width",
    "tolerance": "guard band w = {share}half the tolerance interval",
    "rds": "acceptance limits by root difference of squares of tolerance and U",
    "managed": "managed guard band from the test uncertainty ratio for a 2 % false-accept risk",
    "specific_risk": "guard band w solved for a specific risk of {target} at most",
    "global_risk": "guard band w solved for a global consumer's risk of {target} at most",
    "tur_table": "guard band w by test uncertainty ratio: {steps}",
}


def statement(
    verdict: str,
    limits: Limits,
    acceptance: Acceptance,
    rule: Rule,
    *,
    branch: Branch | None = None,
    value: Number | None = None,
    U: Number,
    k: Number,
    dof: Number | None = None,
    density: "Density | None" = None,
    prior: Prior | None = None,
    risks: tuple[float, float] | None = None,
    unit: str | None = None,
    results: str | None = None,
    specification: str | None = None,
) -> str:
    """Return the statement of conformity for the certificate (ISO/IEC 17025:2017, 7.8.6.2).

    Parameters
    ----------
    verdict : str
        One of VERDICTS.
    limits : Limits
        The tolerance limits.
    acceptance : Acceptance
        The acceptance limits.
    rule : Rule
        The decision rule.
    branch : Branch, optional
        Which of its branches decided; not needed for a rule without precondition.
    value : Decimal or Fraction, optional
        The result, so that the limits are printed with as many digits as its verdict needs.
    U, k : Decimal or Fraction
        Expanded uncertainty in the unit of the limits, and its coverage factor.
    dof : Decimal or Fraction, optional
        Degrees of freedom of U.
    density : Density, optional
        The shape of a result that is not normal.
    prior : Prior, optional
        Named where the guard band rests on it.
    risks : tuple of float, optional
        Probability of not conforming and of conforming; printed unless the rule says who prescribed
        it.
    unit : str, optional
        The unit of all quantities.
    results : str, optional
        The results covered; "this result" unless given.
    specification : str, optional
        The requirement, its version included; the limits are quoted in any case.

    Returns
    -------
    str

    Raises
    ------
    KeyError
        If the verdict is not in VERDICTS.

    Examples
    --------
    >>> from api.rules.rule import BUILT_IN
    >>> band = Acceptance(None, Decimal(11), None, Decimal(0))
    >>> print(statement("pass", Limits(None, Decimal(11)), band, BUILT_IN["simple"],
    ...                 U=Decimal("0.2"), k=Decimal(2), unit="kN"))
    Statement of conformity for this result: the specification (at most 11 kN) is met. \
Decision rule simple, version 1: simple acceptance, no guard band (w = 0). \
Expanded uncertainty U = 0.2 kN, k = 2.
    """
    span = _span(limits.lower, limits.upper, unit)
    u_place = place_of(U)
    named = f"the specification {specification}" if specification else "the specification"
    covered = results or "this result"
    by = rule if branch is None else branch.rule
    if branch is not None and by is None:
        parts = [
            f"No statement of conformity with {named} ({span}) is made for {covered}.",
            f"{_rule_name(rule)}: {describe_rule(rule)}. Here {branch.reason}.",
        ]
    else:
        by = by or rule
        place = _telling(u_place, verdict, acceptance, limits, by.zones, value)
        parts = [
            f"Statement of conformity for {covered}: "
            f"{named} ({span}) {_outcome(verdict, acceptance, by.zones)}.",
            f"{_rule_name(rule)}{_branch(branch)}: {_band(acceptance, by.guard, unit, place)}.",
        ]
    parts += [
        f"Expanded uncertainty U = {uncertainty(U, unit, u_place)}, "
        f"k = {factor_text(k)}{_freedom(dof)}.",
    ]
    if density is not None:
        parts.append(f"The result is taken to be distributed as {density.words}.")
    if rule.decides_on == REPORTED:
        parts.append("It is decided on the result and U as they are reported, rounded.")
    if prior is not None and by is not None and by.guard.basis == "global_risk":
        mean, sd = (quantity(number, unit, u_place) for number in (prior.mean, prior.sd))
        parts.append(f"Items are taken to have the mean {mean} and the standard deviation {sd}.")
    if rule.prescribed_by:
        parts.append(f"The rule is prescribed by {rule.prescribed_by}.")
    elif risks is not None and verdict != NO_STATEMENT:
        parts.append(_risk(verdict, *risks))
    if acceptance.reason and verdict != NO_STATEMENT:
        parts.append(f"Note: {acceptance.reason}.")
    return " ".join(parts)


def describe_guard(guard: Guard) -> str:
    """Return the guard band rule in words, without values of a result.

    Parameters
    ----------
    guard : Guard
        How the guard band is found.

    Returns
    -------
    str

    Examples
    --------
    >>> describe_guard(Guard("U", factor=Decimal("0.83")))
    'guard band w = 0.83 U'
    """
    return _GUARDS[guard.basis].format(
        factor=_times(guard.factor),
        share=_share(guard.share),
        target="" if guard.target is None else plain(guard.target),
        steps=", ".join(_step(step) for step in guard.steps or ()),
    )


def _step(step: Step) -> str:
    """Say which guard band a step of a table has."""
    if step.factor is None:
        band = f"{_share(step.share)}half the tolerance interval"
    else:
        band = f"{_times(step.factor)}U"
    return f"from TUR {plain(step.from_tur)} {band if step.size else 'none'}"


def describe_rule(rule: Rule) -> str:
    """Return what a rule does in words, with its preconditions and fallbacks.

    Parameters
    ----------
    rule : Rule
        The decision rule.

    Returns
    -------
    str

    Examples
    --------
    >>> from api.rules.rule import rule_from_mapping
    >>> tur = {"least_tur": "4"}
    >>> describe_rule(rule_from_mapping(
    ...     {"guard": {"basis": "none"}, "precondition": tur, "otherwise": "guard_U"}))
    'simple acceptance, no guard band, if TUR is at least 4; else guard band w = U'
    """
    told, chain = [], tuple(rule.chain())
    for one in chain:
        asked = one.precondition
        told.append(describe_guard(one.guard) + (f", if {asked.words}" if asked else ""))
    if chain[-1].precondition is not None:
        told.append("no statement")
    on = "on the result and U as reported: " if rule.decides_on == REPORTED else ""
    return on + "; else ".join(told)


def _branch(branch: Branch | None) -> str:
    """Say which branch decided, and why, where there are several."""
    if branch is None or not branch.checks:
        return ""
    return f", branch {branch.number} ({branch.reason})"


def _freedom(dof: Number | None) -> str:
    return "" if dof is None else f" for {plain(dof)} degrees of freedom"


def _times(factor: Decimal | None) -> str:
    return "" if factor is None or factor == 1 else f"{plain(factor)} "


def _share(share: Decimal | None) -> str:
    return "" if share is None or share == 1 else f"{plain(share)} times "


def _outcome(verdict: str, acceptance: Acceptance, zones: int) -> str:
    if verdict == "fail" and acceptance.empty:
        # The result may well conform.
        return "is not met by the decision rule, which accepts no result with this uncertainty"
    if verdict == "fail" and zones == 2 and _guarded(acceptance):
        # Inside the tolerance limits this is no proof of nonconformity: say which limits count.
        return "is not met: the result lies outside the acceptance limits"
    return _OUTCOMES[verdict]


def _guarded(acceptance: Acceptance) -> bool:
    return any(band is not None and band > 0 for band in _bands(acceptance))


def _bands(acceptance: Acceptance) -> tuple[Number | None, Number | None]:
    return acceptance.guard_lower, acceptance.guard_upper


def _rule_name(rule: Rule) -> str:
    name = "Decision rule" if rule.id == "inline" else f"Decision rule {rule.id}"
    agreed = f", agreed with {rule.agreed_with}" if rule.agreed_with else ""
    return f"{name}, version {rule.version}{agreed}"


def _band(acceptance: Acceptance, guard: Guard, unit: str | None, place: int) -> str:
    lower, upper = _bands(acceptance)
    if lower is None or upper is None or lower == upper:
        band = upper if lower is None else lower
        widths = "w = 0" if not band else f"w = {quantity(band, unit, place)}"
    else:
        below, above = (quantity(band, unit, place) for band in (lower, upper))
        widths = f"w = {below} below and {above} above"
    words = f"{describe_guard(guard)} ({widths})"
    if acceptance.empty:
        return f"{words}, no value is accepted"
    if guard.basis == "none":
        return words
    return f"{words}, accepted {_span(*_inwards(acceptance, place), unit)}"


def _risk(verdict: str, nonconforming: float, conforming: float) -> str:
    if verdict in ("pass", "conditional_pass"):
        return f"Specific risk of false acceptance: {percent(nonconforming)}."
    return f"Specific risk of false rejection: {percent(conforming)}."


def _span(lower: Number | None, upper: Number | None, unit: str | None) -> str:
    suffix = f" {unit}" if unit else ""
    low = None if lower is None else plain(lower)
    high = None if upper is None else plain(upper)
    if low is not None and high is not None:
        return f"from {low} to {high}{suffix}"
    return f"at least {low}{suffix}" if high is None else f"at most {high}{suffix}"


def _inwards(acceptance: Acceptance, place: int) -> tuple[Decimal | None, Decimal | None]:
    """Return rounded limits; they move inwards, so that nothing seems accepted that is not."""
    lower, upper = acceptance.lower, acceptance.upper
    return (
        None if lower is None else rounded(lower, place, ROUND_CEILING),
        None if upper is None else rounded(upper, place, ROUND_FLOOR),
    )


def _telling(
    place: int,
    verdict: str,
    acceptance: Acceptance,
    limits: Limits,
    zones: int,
    value: Number | None,
) -> int:
    """Return the place, at or below the given one, at which the figures show the same verdict."""
    if acceptance.empty:
        return place
    while place > LEAST_PLACE:
        low, high = _inwards(acceptance, place)
        crossed = low is not None and high is not None and low > high
        if not crossed and (value is None or _shows(verdict, low, high, value)):
            break
        place -= 1
    if value is None or verdict != "fail" or zones == 2:
        return place
    # Beyond the zones of condition: by more than the printed w.
    sides = ((limits.lower, acceptance.guard_lower, -1), (limits.upper, acceptance.guard_upper, 1))
    for limit, band, sign in sides:
        if limit is None or band is None:
            continue
        beyond = sign * (Fraction(value) - Fraction(limit))
        while beyond > band and beyond <= Fraction(rounded(band, place, ROUND_CEILING)):
            place -= 1
    return place


def _shows(verdict: str, low: Decimal | None, high: Decimal | None, value: Number) -> bool:
    """Say whether a result lies inside the limits if it passed."""
    return verdict != "pass" or (
        (low is None or Fraction(low) <= value) and (high is None or value <= Fraction(high))
    )
