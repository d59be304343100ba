"""Curves that certificates assign: checked when they are recorded, asked afterwards.

The value of a standard at a force is what its curve gives there (ISO 376 and ASTM E74 assign the
coefficients, from memory). Inside its range only: beyond it the fit says nothing, and is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, NotFound
from api.rules.units import FORCE_UNITS, factor
from api.services.base.record import Record
from api.services.base.recording import Recording
from api.store.tables import Certificate, Item
from graph.exact import text
from graph.polynomials import AssignedCurve, CurveError

_TURNS = "check coefficients, their order (the constant first) and their units"


def assigned(curve: Record) -> AssignedCurve:
    """Return a curve that has its range as the polynomial that it is; raises CurveError."""
    return AssignedCurve.written(curve["of"], curve["coefficients"], curve["range"])


def recorded(
    recording: Recording,
    calibration: Record,
    results: Sequence[Record],
    place: Callable[..., str],
) -> Record | None:
    """Return the curve of a calibration as it is kept, its range told; notes what is wrong."""
    curve: Record | None = calibration.get("curve")
    if curve is None:
        return None
    if not calibration["assigns_value"]:
        recording.refuse(
            place("curve"),
            "the calibration assigns no value, and a curve is one",
            "leave the curve out, or assigns_value",
        )
    ends = curve.get("range") or _measured(curve["unit"], results)
    if ends is None:
        recording.refuse(
            place("curve", "range"),
            f"not given, and no two results have different forces in {curve['unit']}",
            'add {"from", "to"}: the forces between which the curve holds',
        )
        return None
    kept = {
        "of": curve["of"],
        "coefficients": [format(one, "f") for one in curve["coefficients"]],
        "unit": curve["unit"],
        "deflection_unit": curve.get("deflection_unit"),
        "range": {name: format(ends[name], "f") for name in ("from", "to")},
    }
    try:
        assigned(kept)
    except CurveError as error:
        recording.refuse(place("curve", "coefficients"), str(error), _TURNS)
    return {name: value for name, value in kept.items() if value is not None}


def _measured(unit: str, results: Sequence[Record]) -> Record | None:
    """The smallest and largest force of the results, zero left out, if all are in one unit."""
    forces = [one["applied"] for one in results if one.get("applied")]
    if any(one.get("unit") != unit for one in results if one.get("applied")) or not forces:
        return None
    return {"from": min(forces), "to": max(forces)} if min(forces) < max(forces) else None


def answer(session: Session, certificate: Certificate, asked: Record) -> Record:
    """Return the curve of a certificate, and the force or deflection that was asked of it.

    Raises
    ------
    NotFound
        If the certificate assigns no curve.
    InvalidRecord
        If what is asked lies outside its range.
    """
    curve: Record | None = certificate.curve
    if curve is None:
        remedy = "ask another revision, or read its results: GET /v1/certificates/{number}"
        detail = f"certificate {certificate.number} rev. {certificate.revision} assigns no curve"
        raise NotFound(detail, [Issue("", detail, remedy, certificate.number)])
    unit = str(asked.get("unit", curve["unit"]))
    shown: Record = {
        "certificate": certificate.number,
        "revision": certificate.revision,
        "item": session.get_one(Item, certificate.item_id).code,
        **curve,
        "curve_unit": curve["unit"],
        "unit": unit,
    }
    if certificate.issuer:
        shown["issuer"] = certificate.issuer
    return shown | _given(curve, asked, factor(unit) / factor(curve["unit"]))


def _given(curve: Record, asked: Record, scale: Fraction) -> Record:
    """Force and deflection that belong together; `scale` is the asked unit in the curve's."""
    given = next((name for name in ("deflection", "force") if name in asked), None)
    if given is None:
        return {}
    held = assigned(curve)
    sent = Fraction(asked[given])
    try:
        if given == "force":
            name, deflection = "deflection", held.deflection_at(sent * scale)
            found, exact = deflection, held.meets(deflection, sent * scale)
        else:
            name, force = "force", held.force_at(sent)
            found, exact = force / scale, held.meets(sent, force)
    except CurveError as error:
        ends = held.low, held.high
        if given == "deflection":
            ends = held.deflection_at(ends[0]), held.deflection_at(ends[1])
            said = curve.get("deflection_unit", "")
        else:
            ends = ends[0] / scale, ends[1] / scale
            said = asked.get("unit", curve["unit"])
        between = " to ".join(text(one, exact=given == "force") for one in sorted(ends))
        remedy = f"ask for a {given} of {between} {said}".rstrip()
        value = format(asked[given], "f")
        issue = Issue("", f"{given} {value}: {error}", remedy, value)
        raise InvalidRecord("the curve says nothing there", [issue]) from error
    return {given: asked[given], name: text(found, exact=exact)}


def span(curve: Record | None) -> tuple[str, str] | None:
    """Return the range of a curve in newton, as exact fractions in text."""
    if curve is None or curve["unit"] not in FORCE_UNITS:
        return None
    unit = factor(curve["unit"])
    low, high = (str(Fraction(curve["range"][name]) * unit) for name in ("from", "to"))
    return low, high
