"""What takes its U from a recorded budget: a decision, or a result that names one.

Choice: a decision takes U_stated and its k, and the degrees of freedom that k was looked up with;
none where k came from a density with ends, or where U was raised to a capability, whose k it then
is. So does a result that states no U of its own, when it is recorded and once for all: what is
decided again after a recall needs it. One that states its U must state the budget's U or U_stated,
or a rounding of one of them at its own last place; the same holds for k and dof, which are those of
the one that it states. Of a budget for several points that one counts whose value is nearest to the
applied force. A budget reaches from nine tenths of its lowest force to eleven tenths of its
highest, since forces are met nearly (common practice, no source); a result beyond is refused, save
one at zero.

Not checked: that a budget describes the calibration that names it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from math import floor
from typing import Any

from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, UnknownReference
from api.rules.uncertainty.coverage import DOMINANT
from api.rules.uncertainty.rounding import is_rounding_of
from api.rules.units import convert, is_force
from api.services.base.record import Record
from api.services.base.recording import Recording
from api.services.base.units import PERCENT
from api.services.uncertainty.uncertainty_budgets import find, points_of
from graph.exact import ended, text

REMEDY = "record the budget first (POST /v1/uncertainty-budgets), or mend the id"


def with_budget(session: Session, request: Mapping[str, Any]) -> Record:
    """Return a decision request with U, k and dof of the budget that it names, if any.

    Raises UnknownReference for a budget that is not recorded, InvalidRecord where its point is not
    clear or its unit is another quantity than that of the value.
    """
    found = dict(request)
    if "budget" not in request:
        return found
    sent = request["budget"]
    row = find(session, sent["id"])
    if row is None:
        detail = f'budget "{sent["id"]}" is not recorded'
        raise UnknownReference(detail, [Issue("/budget", detail, REMEDY, sent["id"])])
    point = _chosen(points_of(row.answer), sent.get("point"), sent["id"])
    unit = point["point"]["unit"]
    if unit != request["unit"] and not (is_force(unit) and is_force(request["unit"])):
        detail = f'budget "{sent["id"]}" is in {unit}, the value in {request["unit"]}'
        remedy = "name a budget in the unit of the value, or send U"
        raise InvalidRecord(detail, [Issue("/budget", detail, remedy, sent["id"])])
    # Of equal numbers the reported one: its zeros say how far the value is rounded.
    U, reported = Decimal(point["U_stated"]), Decimal(point["U_reported"])
    U = reported if reported == U else U
    value = Decimal(point["point"]["value"])
    found |= {"budget": {"id": row.code, "point": {"value": value, "unit": unit}}}
    k, dof = _of_stated(point)
    if "density" not in request and "density" in point:
        shape = {name: part for name, part in point["density"].items() if name != "kind"}
        found["density"] = {name: Decimal(part) for name, part in shape.items()}
        dof = None
    found |= {"U": {"value": U, "unit": unit}, "k": k}
    return found if dof is None else found | {"dof": Decimal(dof)}


@dataclass(slots=True)
class BudgetRows:
    """Finds the budgets that results name, asking for each once."""

    recording: Recording
    known: dict[str, tuple[int, Sequence[Record]] | None] = field(default_factory=dict)

    def taken(self, result: Mapping[str, Any], place: str) -> Record:
        """Return what a result's row takes from its budget; faults are noted at `place`.

        That is `budget_id`, and k, dof and U (or U_rel_pct, where the error is in percent) as far
        as the result does not state them.
        """
        code = result.get("budget")
        if code is None:
            return {"budget_id": None}
        if code not in self.known:
            row = find(self.recording.session, code)
            self.known[code] = None if row is None else (row.id, points_of(row.answer))
        budget = self.known[code]
        if budget is None:
            detail = f'budget "{code}" is not recorded'
            self.recording.lacks("budgets", code, f"{place}/budget", detail, REMEDY)
            return {"budget_id": None}
        self._refuse_beyond(budget[1], result, place)
        point = _nearest(budget[1], result)
        stated = [name for name in ("U", "U_rel_pct") if result.get(name) is not None]
        own = [self._compare(point, result, name, place) for name in stated]
        found: Record = {"budget_id": budget[0]}
        if not stated:
            found |= self._own(point, result, place)
        k, dof = (Decimal(point["k"]), _dof(point)) if True in own else _of_stated(point)
        if result.get("dof") is not None:
            self._compare_dof(point, dof, result, place)
        elif dof is not None:
            found["dof"] = Decimal(dof)
        if result.get("k") is None:
            found["k"] = k
        elif not is_rounding_of(result["k"], k):
            remedy = "leave k out, or name the budget that it came from"
            detail = f"the budget states k = {k:f}"
            self.recording.refuse(f"{place}/k", detail, remedy, result["k"])
        return found

    def _compare_dof(
        self, point: Record, dof: int | None, result: Mapping[str, Any], place: str
    ) -> None:
        sent = result["dof"]
        effective = None if dof is None else point["dof_effective"]
        if effective is not None and is_rounding_of(sent, Decimal(effective)):
            return
        if sent != dof:
            detail = f"the budget has {dof}"
            if dof is None:
                detail = "the budget has infinitely many, or its k was not found by them"
            remedy = "leave dof out, or name the budget that it came from"
            self.recording.refuse(f"{place}/dof", detail, remedy, sent)

    def _refuse_beyond(
        self, points: Sequence[Record], result: Mapping[str, Any], place: str
    ) -> None:
        applied, unit = result.get("applied"), result.get("unit") or ""
        known = all(is_force(one) for one in (unit, *(one["point"]["unit"] for one in points)))
        if not applied or not known:
            return
        sizes = [abs(convert(_value(one), one["point"]["unit"], unit)) for one in points]
        if not min(sizes) * 9 / 10 <= abs(Fraction(applied)) <= max(sizes) * 11 / 10:
            reach = " to ".join(text(ended(size)) for size in sorted({min(sizes), max(sizes)}))
            detail = f"the budget is for {reach} {unit}, the result at {applied:f} {unit}"
            remedy = "name a budget that reaches this force"
            self.recording.refuse(f"{place}/budget", detail, remedy, result["budget"])

    def _own(self, point: Record, result: Mapping[str, Any], place: str) -> Record:
        """U of a point of a budget in the terms of a result that states none."""
        relative = result.get("error_rel_pct") is not None and result.get("error") is None
        unit = PERCENT if relative else result.get("unit") or point["point"]["unit"]
        U = _expressed(point, "U_stated", unit)
        if U is None:
            self._other_quantity(point, unit, result, place)
            return {}
        return {"U_rel_pct" if relative else "U": Decimal(text(ended(U)))}

    def _compare(self, point: Record, result: Mapping[str, Any], name: str, place: str) -> bool:
        """Compare a stated U with a budget's; say whether it is the U below the floor alone."""
        sent: Decimal = result[name]
        unit = PERCENT if name == "U_rel_pct" else result["unit"]
        own, stated = (_expressed(point, which, unit) for which in ("U", "U_stated"))
        if own is None or stated is None:
            self._other_quantity(point, unit, result, place)
            return False
        if is_rounding_of(sent, stated):
            return False
        if not is_rounding_of(sent, own):
            at = f"{point['point']['value']} {point['point']['unit']}"
            detail = f"the budget states U = {point['U_stated']} {point['point']['unit']} at {at}"
            remedy = "send that U, rounded if need be, or name the budget that it came from"
            self.recording.refuse(f"{place}/{name}", detail, remedy, sent)
        return True

    def _other_quantity(
        self, point: Record, unit: str, result: Mapping[str, Any], place: str
    ) -> None:
        detail = f"the budget is in {point['point']['unit']}, which is not compared with {unit}"
        remedy = "name a budget in the unit of the result"
        self.recording.refuse(f"{place}/budget", detail, remedy, result["budget"])


def _chosen(points: Sequence[Record], value: Decimal | None, code: str) -> Record:
    """Return the point of a budget that is meant: the only one, or the one of this value."""
    if value is None and len(points) == 1:
        return points[0]
    found = [one for one in points if value is not None and _value(one) == value]
    if len(found) == 1:
        return found[0]
    known = ", ".join(f"{one['point']['value']} {one['point']['unit']}" for one in points)
    asked = "several points" if value is None else f"no single point at {value}"
    detail = f'budget "{code}" has {asked}: {known}'
    remedy = 'send {"id", "point"} with the value of one of them'
    raise InvalidRecord(detail, [Issue("/budget", detail, remedy, code)])


def _of_stated(point: Record) -> tuple[Decimal, int | None]:
    """Return k and degrees of freedom of the U that a point states.

    A capability has its own k and infinitely many. Points stored before they knew `k_stated` were
    raised to capabilities that all had k = 2.
    """
    floor = point["floor"]
    if floor is None or not floor["applied"]:
        return Decimal(point["k"]), _dof(point)
    return Decimal(point.get("k_stated", "2")), None


def _dof(point: Record) -> int | None:
    if point["coverage"]["method"] == DOMINANT or point["dof_effective"] is None:
        return None
    cut: int | None = point["dof_for_k"]
    return floor(Decimal(point["dof_effective"])) if cut is None else cut


def _nearest(points: Sequence[Record], result: Mapping[str, Any]) -> Record:
    applied, unit = result.get("applied"), result.get("unit")
    if len(points) == 1 or applied is None:
        return points[0]

    def distance(point: Record) -> Fraction:
        own = point["point"]["unit"]
        known = own == unit or (is_force(own) and is_force(unit))
        value = convert(_value(point), own, unit or own) if known else Fraction(_value(point))
        return abs(abs(value) - abs(Fraction(applied)))

    return min(points, key=distance)


def _expressed(point: Record, name: str, unit: str) -> Fraction | None:
    """Return U of a point in the unit of a result's, None where there is no way."""
    own, U = point["point"]["unit"], Decimal(point[name])
    if own == unit or (is_force(own) and is_force(unit)):
        return convert(U, own, unit)
    if unit == PERCENT and is_force(own) and _value(point):
        return Fraction(U) * 100 / abs(Fraction(_value(point)))
    return None


def _value(point: Record) -> Decimal:
    return Decimal(point["point"]["value"])
