"""A result comes in and a decision goes out, stored with the rule's version and the request.

Choice: the unit of the value is the unit of the answer. Limits given in another unit of force are
converted exactly, as fractions; so is nothing else, because nominal, tolerance, prior and U are in
the unit of the value by definition. What is wrong is named by a pointer into the request.

Not checked: that U contains every contribution, or that the rule was agreed with the customer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, NoReturn

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, NotFound
from api.rules import ENGINE_VERSION
from api.rules.decide import Decision, Prior, decide
from api.rules.exact import FieldError, Number, exact_arithmetic
from api.rules.limits import Limits, LimitsError
from api.rules.rule import Rule, RuleError, rule_from_mapping
from api.rules.units import UnknownUnit, convert, is_force
from api.services.decision_answers import decision_answer
from api.services.decision_rules import ensure_rule, resolve_rule
from api.services.specifications import (
    limits_around,
    limits_at,
    resolve_specification,
    texted,
)
from api.services.units import PERCENT, check_unit
from api.store.paging import KeyValues, page
from api.store.tables import StoredDecision
from graph.moments import text_of

Request = Mapping[str, Any]
_REMEDIES: tuple[tuple[type[FieldError], str], ...] = (
    (RuleError, "mend the rule object, or name a recorded rule (GET /v1/decision-rules)"),
    (LimitsError, "check the limits or the tolerance, their order and their units"),
    (FieldError, "check the number and its unit"),
)
_LISTED = ("verdict", "value", "U", "unit", "rule")


def decide_one(session: Session, request: Request, now_us: int) -> dict[str, Any]:
    """Decide one result, as loaded by its schema, and store it unless `store` is false.

    Returns the answer; its `id` is None if it was not stored. Storing needs a write transaction.

    Raises UnknownReference for a rule or specification that is not recorded, InvalidRecord for
    numbers, limits or units that the decision cannot be made with.
    """
    rule, reference, row_id = requested_rule(session, request)
    decision = _decide(session, request, rule)
    answer = decision_answer(decision, request["unit"], reference)
    if not request["store"]:
        return {"id": None, **answer}
    if row_id is None and "id" in request["rule"]:
        row_id = ensure_rule(session, rule.id)
    row = StoredDecision(
        recorded_us=now_us,
        engine_version=ENGINE_VERSION,
        rule_id=row_id,
        verdict=decision.verdict,
        request=texted({name: part for name, part in request.items() if name != "store"}),
        answer=answer,
    )
    session.add(row)
    session.flush()
    return {"id": row.id, **answer}


def requested_rule(session: Session, request: Request) -> tuple[Rule, dict[str, Any], int | None]:
    """Return the rule that a request names or holds, what an answer says of it, and its row id.

    The row id is None for a rule object, and for a built-in rule without a row.

    Raises UnknownReference, InvalidRecord for an object that is no rule.
    """
    sent = request["rule"]
    if "guard" not in sent:
        rule, row_id = resolve_rule(session, sent["id"], sent.get("version"))
        return rule, {"id": rule.id, "version": rule.version}, row_id
    try:
        rule = rule_from_mapping(sent)
    except RuleError as error:
        _refuse(error, request)
    shown = {name: part for name, part in rule.to_mapping().items() if name in ("guard", "zones")}
    return rule, {**texted(sent), **shown}, None


def get_decision(session: Session, key: int) -> dict[str, Any]:
    """Return a stored decision with its request; raise NotFound."""
    row = session.get(StoredDecision, key)
    if row is None:
        raise NotFound(f"decision {key} is not recorded")
    recorded = {"recorded_at": text_of(row.recorded_us), "request": row.request}
    return {"id": row.id, **row.answer, **recorded}


def list_decisions(
    session: Session, verdict: str | None, after: Sequence[Any] | None, limit: int
) -> tuple[list[dict[str, Any]], KeyValues | None]:
    """Return stored decisions in short, the latest first, and the key to continue behind."""
    columns = StoredDecision.id, StoredDecision.recorded_us, StoredDecision.answer
    statement = select(*columns)
    if verdict is not None:
        statement = statement.where(StoredDecision.verdict == verdict)
    rows, key = page(session, statement, [StoredDecision.id], after, limit, descending=True)
    entries = [
        {"id": row.id, "recorded_at": text_of(row.recorded_us)}
        | {name: row.answer[name] for name in _LISTED}
        for row in rows
    ]
    return entries, key


def _decide(session: Session, request: Request, rule: Rule) -> Decision:
    try:
        limits, named = _limits(session, request)
        prior = request.get("prior")
        return decide(
            request["value"],
            _uncertainty(request),
            limits,
            rule,
            k=request.get("k", Decimal(2)),
            dof=request.get("dof"),
            prior=None if prior is None else Prior(prior["mean"], prior["sd"]),
            unit=request["unit"],
            results=request.get("results"),
            specification=request.get("specification", named),
        )
    except FieldError as error:
        _refuse(error, request)


def _limits(session: Session, request: Request) -> tuple[Limits, str | None]:
    """Return the limits in the unit of the value, and the name of a recorded specification."""
    value, unit = request["value"], request["unit"]
    _check_unit(unit, "/unit")
    if "limits" in request:
        sides = request["limits"].items()
        return Limits(**{side: _limit(limit, unit, side) for side, limit in sides}), None
    tolerance, nominal = request["tolerance"], request.get("nominal")
    centre = Decimal(0) if nominal is None else nominal
    # Without a nominal, or around 0, the value is an error of indication and no reading.
    reading = request.get("reading", value if centre else None)
    if unit == PERCENT and not centre:
        nominal, reading = Decimal(100), _sum(Decimal(100), value)
    scales = {"nominal": nominal, "reading": reading}
    scales |= {name: request.get(name) for name in ("full_scale", "resolution")}
    if not _named(tolerance):
        known = {name: scale for name, scale in scales.items() if scale is not None}
        return Limits(*limits_around(centre, tolerance, known)), None
    definition, _ = resolve_specification(session, tolerance["specification"])
    applied = (centre, unit) if centre and is_force(unit) else None
    found = limits_at(definition, centre, unit=unit, scales=scales, applied=applied)
    return Limits(*found), definition.name


def _limit(limit: Request | None, unit: str, side: str) -> Number | None:
    if limit is None:
        return None
    own = limit.get("unit", unit)
    number: Decimal = limit["value"]
    if own == unit:
        return number
    _check_unit(own, f"/limits/{side}/unit")
    if not (is_force(own) and is_force(unit)):
        detail = f"{own} cannot be expressed in {unit}, the unit of the value"
        remedy = "give the limit in the unit of the value"
        raise InvalidRecord(detail, [Issue(f"/limits/{side}/unit", detail, remedy, own)])
    return convert(number, own, unit)


def _uncertainty(request: Request) -> Decimal:
    U: Decimal
    if "U" in request:
        U = request["U"]
        return U
    share, value = request["U_rel_pct"], request["value"]
    if value == 0 or request["unit"] == PERCENT:
        what = "a value of 0" if value == 0 else "a value that is itself in percent"
        detail = f"U in percent of {what} has no meaning"
        issue = Issue("/U_rel_pct", detail, "send U in the unit of the value", str(share))
        raise InvalidRecord(detail, [issue])
    with exact_arithmetic():
        U = abs(value) * share * Decimal("0.01")
    return U


def _sum(first: Decimal, second: Decimal) -> Decimal:
    with exact_arithmetic():
        return first + second


def _check_unit(unit: str, place: str) -> None:
    try:
        check_unit(unit)
    except UnknownUnit as unknown:
        detail, _, remedy = str(unknown).partition("; ")
        raise InvalidRecord(detail, [Issue(place, detail, remedy, unit)]) from None


def _refuse(error: FieldError, request: Request) -> NoReturn:
    """Raise the maths' refusal again with a pointer into the request."""
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
    if field in ("/mean", "/sd"):
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
