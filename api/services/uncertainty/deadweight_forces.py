"""A stack of masses, gravity and air come in; the force in N and any unit goes out, unstored.

Choice: nothing is taken for granted. Every quantity comes with its own uncertainty, also a computed
gravity, whose local anomaly no formula knows; an uncertainty of 0 is the caller's word.

Not checked: that the masses hang free, and that gravity and air belong to the place of the machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from api.errors import InvalidRecord, Issue, pointer
from api.rules.exact import plain, ratio, reported_uncertainty, square_root
from api.rules.uncertainty import air as air_rules
from api.rules.uncertainty.deadweight import (
    MASS_UNITS,
    Deadweight,
    Measured,
    Piece,
    PieceForce,
    deadweight_force,
)
from api.rules.uncertainty.gravity import FORMULAS, computed_gravity
from api.rules.units import convert
from api.services.base.record import Record

COVERAGE = 2
NOTES = (
    "Magnetic and aerodynamic effects, swinging and a force that is not vertical are not covered.",
    "U is k u with k = 2, for a normal distribution.",
)
_NO_ANOMALY = (
    "Gravity was computed: the formula does not know the local anomaly, so its uncertainty is as "
    "good as what was stated for it. A measured value is better."
)
_UNITS = {"temperature_C": "degC", "pressure_hPa": "hPa", "humidity_pct": "%"}


def weigh(request: Mapping[str, Any]) -> Record:
    """Return the force of a stack, as loaded by its schema.

    Raises InvalidRecord for a material that is no denser than the air.
    """
    gravity, gravity_shown, notes = _gravity(request["gravity"])
    air, air_shown, more = _air(request["air"])
    pieces = [_piece(index, one, air.value) for index, one in enumerate(request["masses"])]
    correlated = request["masses_correlated"]
    found = deadweight_force(pieces, gravity, air, correlated=correlated)
    return {
        "force_N": plain(found.force),
        "k": str(COVERAGE),
        "forces": [_in(found, unit) for unit in ("N", *request["units"])],
        "contributions": _contributions(found),
        "gravity": {**gravity_shown, "sensitivity": plain(found.per_gravity)},
        "air_density": {**air_shown, "sensitivity": plain(found.per_air)},
        "masses": [
            _shown(sent, one, gravity.value)
            for sent, one in zip(request["masses"], found.pieces, strict=True)
        ],
        "masses_correlated": correlated,
        "notes": [*NOTES, *notes, *more],
    }


def _in(found: Deadweight, unit: str) -> Record:
    u = ratio(convert(found.u, "N", unit), Decimal(1))
    U = ratio(COVERAGE * Fraction(u), Decimal(1))
    return {
        "unit": unit,
        "force": plain(convert(found.force, "N", unit)),
        "u": plain(u),
        "U": plain(U),
        "U_reported": format(reported_uncertainty(U), "f"),
    }


def _contributions(found: Deadweight) -> list[Record]:
    total = Fraction(found.u) ** 2
    return [
        {
            "quantity": part.quantity,
            "u_N": plain(part.u),
            "share_pct": plain(ratio(Fraction(part.u) ** 2 * 100, total)) if total else None,
        }
        for part in found.parts
    ]


def _shown(sent: Mapping[str, Any], one: PieceForce, gravity: Fraction) -> Record:
    weight = one.true_mass * gravity
    return {
        **({"name": sent["name"]} if "name" in sent else {}),
        "true_mass_kg": plain(one.true_mass),
        "buoyancy_ppm": plain((one.force - weight) / weight * 10**6),
        "force_N": plain(one.force),
        "sensitivity_mass": plain(one.per_mass),
        "sensitivity_density": plain(one.per_density),
    }


def _piece(index: int, sent: Mapping[str, Any], air: Fraction) -> Piece:
    density = _measured(sent["density"])
    # A conventional mass is defined in air of 1.2 kg/m3, whatever the air here is.
    least = max(air, Fraction("1.2")) if sent["basis"] == "conventional" else air
    if density.value <= least:
        detail = "the material is no denser than the air"
        place = pointer("masses", index, "density", "value")
        raise InvalidRecord(detail, [Issue(place, detail, "give the density in kg/m3")])
    scale = MASS_UNITS[sent["unit"]]
    mass = _measured(sent["mass"])
    return Piece(Measured(mass.value * scale, mass.u * scale), density, sent["basis"])


def _gravity(sent: Mapping[str, Any]) -> tuple[Measured, Record, list[str]]:
    if "measured" in sent:
        measured = _measured(sent["measured"])
        return measured, _quantity(measured, "m/s2", "measured"), []
    place = sent["computed"]
    value = computed_gravity(place["latitude_deg"], place["height_m"], place["formula"])
    computed = _measured({**place, "value": value})
    return computed, _quantity(computed, "m/s2", FORMULAS[place["formula"]]), [_NO_ANOMALY]


def _air(sent: Mapping[str, Any]) -> tuple[Measured, Record, list[str]]:
    if "density" in sent:
        given = _measured(sent["density"])
        return given, _quantity(given, "kg/m3", "given"), []
    conditions = {name: _measured(sent[name]) for name in _UNITS}
    found = air_rules.air_density(**{name: sent[name]["value"] for name in _UNITS})
    if found.density < 0:
        detail = "no air has this humidity at this temperature and pressure"
        raise InvalidRecord(detail, [Issue("/air", detail, "check the three values")])
    parts = [
        {
            "quantity": name,
            "u": plain(_exact(one.u)),
            "unit": _UNITS[name],
            "u_density": plain(_exact(abs(Fraction(found.sensitivities[name])) * one.u)),
        }
        for name, one in conditions.items()
    ]
    formula = Fraction(found.density) * Fraction(air_rules.FORMULA_U_REL)
    parts.append({"quantity": "formula", "u_density": plain(_exact(formula))})
    squares = formula**2 + sum(
        (Fraction(found.sensitivities[name]) * one.u) ** 2 for name, one in conditions.items()
    )
    density = Measured(Fraction(found.density), Fraction(square_root(_exact(squares))))
    notes = [
        f"{name} is outside the range in which the formula of air density holds."
        for name in found.out_of_range
    ]
    return density, {**_quantity(density, "kg/m3", air_rules.SOURCE), "parts": parts}, notes


def _quantity(measured: Measured, unit: str, source: str) -> Record:
    value, u = plain(_exact(measured.value)), plain(_exact(measured.u))
    return {"value": value, "u": u, "unit": unit, "source": source}


def _measured(sent: Mapping[str, Any]) -> Measured:
    return Measured(
        Fraction(sent["value"]), Fraction(sent["U"]) / Fraction(sent.get("k", COVERAGE))
    )


def _exact(value: Fraction) -> Decimal:
    return ratio(value, Decimal(1))
