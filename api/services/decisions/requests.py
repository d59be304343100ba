"""What does a request for a decision ask? Its numbers in one unit, its limits, rule and prior.

Choice: the unit of the value is the unit of the answer. U, limits, nominal, scales and prior given
in another unit of force are converted with the value's as fractions or decimals: exactly, save a
nominal or scale whose decimal has no end, which has 50 digits. Tolerances and absolute guard bands
are in the unit of the value by definition. What is wrong is named by a pointer into the request.

Not checked: that U contains every contribution, or that the rule was agreed with the customer.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn

from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue
from api.rules.decide import Decision, Prior, decide
from api.rules.exact import FieldError, Number, exact_arithmetic, ratio
from api.rules.limits import Limits, LimitsError
from api.rules.reliability import prior_from_observed
from api.rules.rule import (
    BUILT_IN,
    Rule,
    RuleError,
    built_in,
    refuse_unreachable,
    rule_from_mapping,
)
from api.rules.units import UnknownUnit, convert, is_force
from api.services.base.scales import scales_of
from api.services.base.texts import texted
from api.services.base.units import PERCENT, check_unit
from api.services.decisions.decision_rules import finder, known_rules, resolve_rule
from api.services.decisions.specifications import limits_around, limits_at, resolve_specification

if TYPE_CHECKING:
    from api.rules.density import Density

Request = Mapping[str, Any]
_REMEDIES: tuple[tuple[type[FieldError], str], ...] = (
    (RuleError, "mend the rule object, or name a recorded rule (GET /v1/decision-rules)"),
    (LimitsError, "check the limits or the tolerance, their order and their units"),
    (FieldError, "check the number and its unit"),
)
_TWO = Decimal(2)
# The parts of a rule object that decide.
_DECIDES = ("guard", "zones", "decides_on", "precondition", "otherwise")
_SCALES = ("reading", "full_scale", "resolution")


class Decided(NamedTuple):
    """A decision, the prior it used and the version of a recorded specification, if any."""

    decision: Decision
    prior: Prior | None
    specification_version: int | None


def decide_request(session: Session | None, request: Request, rule: Rule) -> Decided:
    """Decide by `rule` what a request, as loaded by its schema, asks.

    The session may be None unless `needs_records`; so it may for `requested_rule`.

    Raises UnknownReference for a specification that is not recorded, InvalidRecord for numbers,
    limits or units that the decision cannot be made with.
    """
    try:
        _check_unit(request["unit"], "/unit")
        limits, named, version = _limits(session, request)
        U, k, dof = _uncertainty(request), request.get("k", _TWO), request.get("dof")
        prior = _prior(request, limits, U, k)
        decision = decide(
            request["value"],
            U,
            limits,
            rule,
            k=k,
            dof=dof,
            prior=prior,
            density=_density(request),
            unit=request["unit"],
            results=request.get("results"),
            specification=request.get("specification", named),
        )
    except FieldError as error:
        refuse(error, request)
    return Decided(decision, prior, version)


def requested_rule(
    session: Session | None, request: Request, *, again: bool = False
) -> tuple[Rule, dict[str, Any], int | None]:
    """Return the rule that a request names or holds, what an answer says of it, and its row id.

    The row id is None for a rule object and for a built-in rule, which need no row to be applied.
    A rule object that is applied `again` is taken as it was.

    Raises UnknownReference, InvalidRecord for an object that is no rule.
    """
    sent = request["rule"]
    if "guard" not in sent:
        if _built_in(sent):
            rule = BUILT_IN[sent["id"]]
            return rule, {"id": rule.id, "version": rule.version}, None
        rule, row_id = resolve_rule(_needed(session), sent["id"], sent.get("version"))
        return rule, {"id": rule.id, "version": rule.version}, row_id
    try:
        rule = rule_from_mapping(sent, built_in if session is None else finder(session))
        if not again:
            refuse_unreachable(rule)
    except RuleError as error:
        refuse(error, request)
    # With its fallbacks as they are now, so that a replay has the same ones.
    shown = {name: part for name, part in rule.to_mapping().items() if name in _DECIDES}
    return rule, {**texted(sent), **shown}, None


def rules_of(
    session: Session, sent: Mapping[str, Any] | None
) -> tuple[dict[str, Rule], Rule | None]:
    """Return the known rules in their latest versions, and the one that a request holds or names.

    Raises UnknownReference, InvalidRecord for an object that is no rule.
    """
    default = None if sent is None else requested_rule(session, {"rule": sent})[0]
    return known_rules(session), default


def needs_records(request: Request) -> bool:
    """Say whether a request names a rule or other record that the database knows."""
    if "agreement" in request:
        return True
    rule = request["rule"]
    alone = "otherwise" not in rule if "guard" in rule else _built_in(rule)
    recorded = not alone or "budget" in request
    return recorded or _named(request.get("tolerance"))


def _needed(session: Session | None) -> Session:
    if session is None:
        raise TypeError("this request needs a session; ask needs_records first")
    return session


def _built_in(rule: Mapping[str, Any]) -> bool:
    return rule["id"] in BUILT_IN and rule.get("version", 1) == 1


def _limits(session: Session | None, request: Request) -> tuple[Limits, str | None, int | None]:
    """Return the limits in the unit of the value, and a recorded specification's name and version.

    Without a nominal, or around 0, the value is an error of indication and no reading.
    """
    value, unit = request["value"], request["unit"]
    if "limits" in request:
        lower, upper = request["limits"].get("lower"), request["limits"].get("upper")
        limits = Limits(_in(unit, lower, "/limits/lower"), _in(unit, upper, "/limits/upper"))
        return limits, None, None
    tolerance, nominal = request["tolerance"], _decimal(request, "nominal")
    centre = Decimal(0) if nominal is None else nominal
    sizes = (_decimal(request, name) for name in _SCALES)
    scales = scales_of(value, nominal, unit, *sizes)
    if not _named(tolerance):
        known = {name: scale for name, scale in scales.items() if scale is not None}
        return Limits(*limits_around(centre, tolerance, known)), None, None
    code, version = tolerance["specification"], tolerance.get("version")
    definition, _ = resolve_specification(_needed(session), code, version)
    applied = (centre, unit) if centre and is_force(unit) else None
    found = limits_at(definition, centre, unit=unit, scales=scales, applied=applied)
    return Limits(*found), definition.name, definition.version


def _in(unit: str, quantity: Any, place: str) -> Number | None:
    """Return a quantity, {"value", "unit"?} or a number, in the unit of the value, exactly."""
    if not isinstance(quantity, dict):
        number: Decimal | None = quantity
        return number
    own, number = quantity.get("unit", unit), quantity["value"]
    if own == unit or number is None:
        return number
    _check_unit(own, f"{place}/unit")
    if not (is_force(own) and is_force(unit)):
        detail = f"{own} cannot be expressed in {unit}, the unit of the value"
        remedy = "give it in the unit of the value"
        raise InvalidRecord(detail, [Issue(f"{place}/unit", detail, remedy, own)])
    return convert(number, own, unit)


def in_unit_of_value(request: Request, name: str, place: str = "") -> Number:
    """Return a quantity of a request, or of its part at `place`, in the unit of the value.

    Raises InvalidRecord for a unit that is not one of the value's.
    """
    sent = request[name]
    found = _in(request["unit"], sent, f"{place}/{name}")
    if found is None:
        raise KeyError(name)
    return found


def _decimal(request: Request, name: str) -> Decimal | None:
    """Return a quantity of the request for use with tolerances, which are decimals."""
    number = _in(request["unit"], request.get(name), f"/{name}")
    return ratio(number, Decimal(1)) if isinstance(number, Fraction) else number


def _prior(request: Request, limits: Limits, U: Number, k: Decimal) -> Prior | None:
    sent = request.get("prior")
    if sent is None:
        return None
    mean, sd = (_in(request["unit"], sent.get(name), f"/prior/{name}") for name in ("mean", "sd"))
    if "reliability" in sent:
        return prior_from_observed(sent["reliability"], limits, U, k, mean)
    return Prior(_known(mean), _known(sd))


def _density(request: Request) -> Density | None:
    shape = request.get("density")
    if not shape:
        return None
    # A density is that of SciPy's functions; most decisions need none.
    from api.rules.density import Density

    return Density(**shape)


def _known(number: Number | None) -> Number:
    if number is None:
        raise FieldError("/prior", "a prior needs mean and sd, or reliability")
    return number


def _uncertainty(request: Request) -> Number:
    if "U" in request:
        return _known(_in(request["unit"], request["U"], "/U"))
    share, value = request["U_rel_pct"], request["value"]
    if value == 0 or request["unit"] == PERCENT:
        what = "a value of 0" if value == 0 else "a value that is itself in percent"
        detail = f"U in percent of {what} has no meaning"
        issue = Issue("/U_rel_pct", detail, "send U in the unit of the value", str(share))
        raise InvalidRecord(detail, [issue])
    with exact_arithmetic():
        U: Decimal = abs(value) * share * Decimal("0.01")
    return U


def _check_unit(unit: str, place: str) -> None:
    try:
        check_unit(unit)
    except UnknownUnit as unknown:
        detail, _, remedy = str(unknown).partition("; ")
        raise InvalidRecord(detail, [Issue(place, detail, remedy, unit)]) from None


def refuse(error: FieldError, request: Request) -> NoReturn:
    """Raise a refusal by the rules again, with a pointer into the request: InvalidRecord."""
    place = _place(error, request)
    detail, _, remedy = str(error).partition("; ")
    if not remedy:
        remedy = next(text for kind, text in _REMEDIES if isinstance(error, kind))
    issue = Issue(place, detail, remedy, _sent(request, place))
    raise InvalidRecord(f"{place or 'the numbers'}: {detail}", [issue]) from None


def _place(error: FieldError, request: Request) -> str:
    field = error.field
    if isinstance(error, RuleError):
        return "/rule" + field if "guard" in request["rule"] else "/rule"
    if field in ("/mean", "/sd", "/reliability"):
        return "/prior" + field
    if isinstance(error, LimitsError) and field in ("", "/lower", "/upper"):
        return "/limits" + field if "limits" in request else "/tolerance"
    inside = field.startswith("/tolerance/")
    return "/tolerance" if inside and _named(request["tolerance"]) else field


def _named(tolerance: object) -> bool:
    """Say whether a tolerance is the id of a recorded specification."""
    return isinstance(tolerance, Mapping) and "specification" in tolerance


def _sent(request: Request, place: str) -> str | None:
    """Return what stands at a pointer of the request, where it is a single value."""
    found: Any = request
    for part in place.split("/")[1:]:
        if isinstance(found, Mapping):
            found = found.get(part)
        elif isinstance(found, list):
            found = found[int(part)]
    if isinstance(found, Mapping):
        found = found.get("value", found.get("id", found.get("specification")))
    return str(found) if isinstance(found, str | int | Decimal) else None
