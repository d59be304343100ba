"""Uncertainty budgets: evaluated, stored as they were, read again.

Choice: a budget is immutable. Its id is the caller's, or made of its content, so that the same
budget sent again is the same record; another one under a known id is a conflict. What is below a
capability is worked out when a budget is read, so that a later capability shows too.

Not checked: that a database is not edited by hand.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from decimal import Decimal
from typing import Any, NoReturn

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, NotFound
from api.rules import ENGINE_VERSION
from api.rules.exact import FieldError
from api.rules.uncertainty.cmc import Capability, allowed, holds
from api.rules.uncertainty.components import READY
from api.rules.uncertainty.distributions import FORMS
from api.rules.uncertainty.rounding import MOST_DIGITS
from api.rules.units import UnknownUnit, is_force
from api.services.base.record import Record, digest
from api.services.base.texts import texted
from api.services.base.units import check_unit
from api.services.uncertainty.budget_points import Asked, point_answer, terms
from api.services.uncertainty.budget_runs import gaps, headed, with_points
from api.services.uncertainty.cmcs import Scope, Stated, resolve, scope
from api.store.paging import KeyValues, page
from api.store.uncertainty import UncertaintyBudget
from api.store.versions import insert_once
from graph.moments import text_of

_KEPT_APART = ("id", "store")
_LISTED = ("point", "k", "U_reported")
_HEADING = ("title", "run_evaluation")


def evaluate(session: Session, request: Mapping[str, Any]) -> Record:
    """Evaluate a budget as loaded by its schema and store nothing; the answer's `id` is None.

    Raises InvalidRecord for figures, units, correlations or a coverage that cannot be,
    UnknownReference for a capability or run evaluation that is not recorded.
    """
    request = headed(session, request)
    answer = {"id": None, **_answer(session, request)}
    return _flagged(answer, _scope(session, request))


def record_budget(session: Session, request: Mapping[str, Any], now_us: int) -> tuple[Record, bool]:
    """Evaluate and store a budget; return it and whether it is new. Raises as `evaluate` does.

    Raises Conflict where another budget is recorded under the id.
    """
    request = headed(session, request)
    kept = texted({name: part for name, part in request.items() if name not in _KEPT_APART})
    code = request.get("id")
    known = None if code is None else find(session, code)
    if known is None:
        answer = _answer(session, request)
        code = code or f"UB-{digest({'request': kept, 'answer': answer})[:16]}"
        row = {"code": code, "engine_version": ENGINE_VERSION, "request": kept, "answer": answer}
        made = insert_once(session, UncertaintyBudget, row | {"recorded_us": now_us}, ["code"])
        if made is not None:
            return _flagged({"id": code, **answer}, _scope(session, kept)), True
        known = find(session, code)
    if known is None or known.request != kept:
        detail = f'budget "{code}" is recorded with other content'
        remedy = "a budget is not edited: send it under another id, or without one"
        raise Conflict(detail, [Issue("/id", detail, remedy, code)])
    return shown(session, known), False


def find(session: Session, code: str) -> UncertaintyBudget | None:
    """Return the stored budget of this id, or None."""
    return session.scalar(select(UncertaintyBudget).where(UncertaintyBudget.code == code))


def get_budget(session: Session, code: str) -> Record:
    """Return a stored budget with its request; raise NotFound."""
    row = find(session, code)
    if row is None:
        raise NotFound(f'budget "{code}" is not recorded')
    return shown(session, row) | {
        "recorded_at": text_of(row.recorded_us),
        "request": row.request,
    }


def shown(session: Session, row: UncertaintyBudget) -> Record:
    """Return a stored budget as it is answered, with what it is below of now."""
    return _flagged({"id": row.code, **row.answer}, _scope(session, row.request))


def list_budgets(
    session: Session, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return stored budgets in short, the latest first, and the key to continue behind."""
    statement = select(UncertaintyBudget)
    rows, key = page(session, statement, [UncertaintyBudget.id], after, limit, descending=True)
    entries = []
    for row in (found[0] for found in rows):
        entry: Record = {"id": row.code, "recorded_at": text_of(row.recorded_us)}
        if "title" in row.request:
            entry["title"] = row.request["title"]
        brief = [{name: one[name] for name in _LISTED} for one in points_of(row.answer)]
        entries.append(entry | {"points": brief})
    return entries, key


def points_of(answer: Mapping[str, Any]) -> list[Record]:
    """Return the points of an answer, one or several."""
    points: list[Record] = answer["points"] if "points" in answer else [dict(answer)]
    return points


def ready_components() -> Record:
    """Return the ready components, and which figures each distribution takes in its forms."""
    return {
        "items": [asdict(one) for one in READY.values()],
        "distributions": {name: [list(form) for form in forms] for name, forms in FORMS.items()},
    }


def _answer(session: Session, request: Mapping[str, Any]) -> Record:
    """Return what is stored of an answer: one point at the top level, several under `points`."""
    asked = Asked(
        request.get("coverage", {}),
        request.get("correlations", ()),
        request.get("rounding", {}).get("digits", MOST_DIGITS),
    )
    held = _scope(session, request)
    named = _named(session, request)
    found = []
    missing = gaps(session, request)
    try:
        request = with_points(session, request)
        shared = terms(request.get("components", ()), "/components")
        for point, place in _points(request):
            value, unit = point["value"], point["unit"]
            _check_unit(unit, f"{place}/unit")
            own = terms(point.get("components", ()), f"{place}/components")
            runs = terms(point.get("of_runs", ()), "/run_evaluation")
            if not (runs or shared or own):
                raise FieldError("/components", "no component; a budget has one at least")
            floor = _floor(request, held, named, value, unit)
            made = point_answer(asked, value, unit, [*runs, *shared, *own], floor)
            found.append(made | {"notes": [*made["notes"], *missing]})
    except FieldError as error:
        _refuse(error)
    head: Record = {name: request[name] for name in _HEADING if name in request}
    head |= found[0] if "point" in request else {"points": found}
    rule = {"digits": asked.digits, "rule": "U up; the value half to even, to the same place"}
    return head | {"rounding": rule, "engine_version": ENGINE_VERSION}


def _points(request: Mapping[str, Any]) -> Iterator[tuple[Mapping[str, Any], str]]:
    if "point" in request:
        yield request["point"], "/point"
    for i, point in enumerate(request.get("points", ())):
        yield point, f"/points/{i}"


def _scope(session: Session, request: Mapping[str, Any]) -> Scope:
    return scope(session, request.get("mode"), request.get("instrument_type"))


def _named(session: Session, request: Mapping[str, Any]) -> Any:
    """Return the capability that a request names, or None."""
    sent = request.get("cmc")
    return None if sent is None else resolve(session, sent["id"], sent.get("version"), "/cmc")


def _floor(
    request: Mapping[str, Any], held: Scope, named: Any, value: Decimal, unit: str
) -> Capability | None:
    if named is None:
        wanted = "cmc" not in request  # null asks for none
        return held.at(value, unit) if wanted else None
    if not is_force(unit):
        raise FieldError("/cmc", f"a CMC is for forces and the point is in {unit}; leave it out")
    if not holds(named, value, unit, held.mode, named.instrument_type):
        span = f"{named.lower} to {named.upper} {named.unit}, mode {named.mode}"
        detail = f'CMC "{named.id}" does not hold at {value} {unit}: it is for {span}'
        raise FieldError("/cmc", f"{detail}; name another, or leave it out to have it found")
    return Capability(named, allowed(named, value, unit))


def _flagged(answer: Record, held: Scope) -> Record:
    """Return an answer with `below_cmc` at each point whose own U is below a capability now."""

    def flag(point: Record) -> Record:
        at = point["point"]
        stated = Stated(Decimal(at["value"]), at["unit"], Decimal(point["U"]), at["unit"])
        below = held.below(stated)
        return point if below is None else point | {"below_cmc": below}

    if "points" in answer:
        return answer | {"points": [flag(one) for one in answer["points"]]}
    return flag(answer)


def _check_unit(unit: str, place: str) -> None:
    try:
        check_unit(unit)
    except UnknownUnit as unknown:
        raise FieldError(place, str(unknown)) from None


def _refuse(error: FieldError) -> NoReturn:
    detail, _, remedy = str(error).partition("; ")
    raise InvalidRecord(f"{error.field}: {detail}", [Issue(error.field, detail, remedy)]) from None
