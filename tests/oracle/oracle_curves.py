"""What do two curves make of a recorded force? Roots by mpmath, lines by a quotient.

DESIGN section 10, "Faults": (true - recorded)/recorded at each force where the item was used. A
root has no last digit, so what takes one is given to 15 digits. Between turning points only one
root is meant: of a force in deflection that nearest to zero deflection, of a deflection in force
that nearest to the recorded force; so for the nearly straight curves that are tried here.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from mpmath import mp, mpf, nstr, polyroots
from oracle_laboratory import Laboratory
from oracle_numbers import NEWTONS, moment, number
from oracle_records import Json

CURVE = {"coefficients_recorded": "coefficients", "of": "of", "unit": "unit", "range": "range"}


def told(lab: Laboratory, fault: Json) -> Json:
    """The fault with what it leaves to the one certificate that it names, or that was in force."""
    if all(name in fault for name in CURVE):
        return fault
    wanted, end = fault.get("certificate"), fault.get("isolated_at")
    ends = None if end is None else moment(end, lab.zone).last
    curves = [
        one.curve
        for one in lab.certificates
        if (one.number == wanted if wanted else one.item == fault["item"])
        and (ends is None or one.performed.first <= ends)
    ]
    if len(curves) != 1 or curves[0] is None:
        raise ValueError("no one certificate says which curve was used")
    return {name: curves[0][at] for name, at in CURVE.items()} | fault


def delta(fault: Json, force: Fraction | None) -> Fraction | None:
    """The share by which the true force differs; None outside the range, or where there is none."""
    if not force:
        return None
    recorded = force / NEWTONS[fault["unit"]]
    if not number(fault["range"]["from"]) <= recorded <= number(fault["range"]["to"]):
        return None
    used, right = (_numbers(fault[f"coefficients_{name}"]) for name in ("recorded", "right"))
    if fault["of"] == "force":
        read, whole = _where(used, recorded, Fraction(0))
        true = None if read is None else _at(right, read)
    else:
        true, whole = _where(right, _at(used, recorded), recorded)
    if true is None or true / recorded <= 0:
        return None
    found = true / recorded - 1
    return found if whole else _cut(found)


def _numbers(coefficients: Any) -> list[Fraction]:
    made = [number(one) for one in coefficients]
    while not made[-1]:
        made.pop()
    return made


def _at(coefficients: list[Fraction], x: Fraction) -> Fraction:
    return sum((one * x**power for power, one in enumerate(coefficients)), Fraction(0))


def _where(
    coefficients: list[Fraction], value: Fraction, near: Fraction
) -> tuple[Fraction | None, bool]:
    """The real root nearest to a place, and whether it is exact."""
    if len(coefficients) == 2:
        return (value - coefficients[0]) / coefficients[1], True
    with mp.workdps(90):
        lowered = [_mpf(one) for one in (coefficients[0] - value, *coefficients[1:])]
        roots = polyroots(lowered, asc=True, maxsteps=500, extraprec=500)
        real = [one.real for one in roots if abs(one.imag) < mpf(10) ** -60]
        if not real:
            return None, False
        nearest = min(real, key=lambda one: abs(one - _mpf(near)))
        found = Fraction(nstr(nearest, 50, min_fixed=-1, max_fixed=1))
    return found, _at(coefficients, found) == value


def _mpf(value: Fraction) -> Any:
    return mpf(value.numerator) / value.denominator


def _cut(value: Fraction) -> Fraction:
    """To 15 significant digits."""
    with mp.workdps(90):
        return Fraction(nstr(_mpf(value), 15, min_fixed=-1, max_fixed=1))
