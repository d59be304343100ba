"""A fault of a curve: what it does not say of the curve that was used is taken from certificates.

Choice: the curve is found when the fault is reported and becomes part of it, so that a stored
recall asks the same for ever, whatever is recorded later. It is that of the certificate named, or
of the one in force in the whole window; where there were several, nobody but the reporter can tell
which of them was wrong, and the fault is refused until it names one.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import Any
from zoneinfo import ZoneInfo

from api.errors import InvalidRecord, Issue, NotFound
from api.services.base.record import Record
from api.services.records.certificate_numbers import of_one_issuer, the_one
from api.store.item_values import ServingRow
from api.store.sources import Source
from graph import faults as kinds
from graph.moments import instant_us
from graph.polynomials import AssignedCurve, CurveError, told

KIND = "wrong_curve"
# What a fault may leave to the certificate, and under which name it stands there.
LEFT = {"coefficients_recorded": "coefficients", "of": "of", "unit": "unit", "range": "range"}
_GIVE = "give coefficients_recorded, of, unit and range"


def completed(source: Source, fault: Record, zone: ZoneInfo, place: str) -> Record:
    """Return a fault with all that its curve needs; as it is if of another kind, or not known.

    Raises
    ------
    InvalidRecord
        If no one certificate says it, or nothing is wrong with the curve.
    """
    if fault["kind"] != KIND:
        return fault
    lacking = [name for name in LEFT if name not in fault]
    if lacking:
        if not _is_recorded(source, fault):
            return fault  # which is refused for that
        curve = _the_curve(source, fault, zone, f"{place}/{lacking[0]}")
        fault = fault | {name: curve[LEFT[name]] for name in lacking}
    if told(fault["coefficients_recorded"]) == told(fault["coefficients_right"]):
        issue = Issue(
            f"{place}/coefficients_right",
            "the coefficients that were used are the right ones",
            "send those that should have been used",
        )
        raise InvalidRecord("nothing is wrong with the curve", [issue])
    return fault


def wrong_curve(fault: Record, common: dict[str, Any], place: str) -> kinds.WrongCurve:
    """Return the graph's fault of one that is complete; raises InvalidRecord for no curve."""
    # Few faults are of curves, and a first list does not wait for the table of units.
    from api.rules.units import factor

    def curve(name: str) -> AssignedCurve:
        try:
            return AssignedCurve.written(fault["of"], fault[name], fault["range"])
        except CurveError as error:
            remedy = "check their order (the constant first), of, unit and range"
            issue = Issue(f"{place}/{name}", str(error), remedy)
            raise InvalidRecord("a fault of what is no curve", [issue]) from error

    return kinds.WrongCurve(
        **common,
        recorded=curve("coefficients_recorded"),
        right=curve("coefficients_right"),
        unit_n=factor(fault["unit"]),
    )


def _is_recorded(source: Source, fault: Record) -> bool:
    if "item" in fault:
        return source.item(fault["item"]) is not None
    if "certificate" not in fault:
        return True
    try:
        return bool(_in_force(source, fault, ZoneInfo("UTC")))
    except NotFound:
        return False


def _the_curve(source: Source, fault: Record, zone: ZoneInfo, place: str) -> Record:
    keys = _in_force(source, fault, zone)
    found = dict.fromkeys(source.curves(keys).values())
    curves = [json.loads(one) for one in found if one is not None]
    if len(curves) == 1 and len(found) == 1:
        return dict(curves[0])
    if not curves:
        said = "not given, and no certificate in force then assigns a curve"
        raise InvalidRecord("a fault of a curve that is not told", [Issue(place, said, _GIVE)])
    issue = Issue(
        place,
        "not given, and certificates in force in the window assign different values",
        f"name the certificate whose curve was wrong in the place of the item, or {_GIVE}",
    )
    raise InvalidRecord("a fault of one of several curves", [issue])


def _in_force(source: Source, fault: Record, zone: ZoneInfo) -> Collection[int]:
    """Keys of the certificates that a fault names, or whose values its item had in the window."""
    if "certificate" in fault:
        number = fault["certificate"]
        numbered = of_one_issuer(source.numbered(number), number, fault.get("issuer"))
        if "revision" in fault:
            return [the_one(numbered, number, fault["revision"]).id]
        return [one.id for one in numbered]
    keys = source.item_keys([fault["item"]]) if "item" in fault else set()
    mode = fault.get("only", {}).get("mode")
    served = [
        one
        for one in source.servings_of(sorted(keys))
        if one.assigns_value
        and one.serves_from_us is not None
        and (mode is None or one.mode in (None, mode))
    ]
    begin, end = fault.get("last_good_at"), fault.get("isolated_at")
    start_us = None if begin is None else instant_us(begin, zone)
    end_us = None if end is None else instant_us(end, zone, end=True)
    return [
        one.id
        for one in served
        if (end_us is None or one.performed_us <= end_us) and not _over(one, served, start_us)
    ]


def _over(one: ServingRow, served: Collection[ServingRow], start_us: int | None) -> bool:
    """Whether a later one of the same mode, or a void, had taken its place before the window."""
    if start_us is None:
        return False
    if one.serves_until_us is not None and one.serves_until_us <= start_us:
        return True
    return any(
        other.mode in (None, one.mode)
        and (one.performed_us, one.revision) < (other.performed_us, other.revision)
        and max(other.performed_us, other.serves_from_us or 0) <= start_us
        and (other.serves_until_us is None or other.serves_until_us > start_us)
        for other in served
    )
