"""Which units may a result be given in, and what is a quantity in another one? One closed list.

Choice: forces convert into each other exactly (`api.rules.units`); a percentage is a share of the
applied force, if that is known; the other units below are kept as they are. A closed list, so that
`kn` and `kg` are refused with the remedy instead of being kept as names.

Not checked: whether the unit suits the instrument.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from api.rules.exact import ratio
from api.rules.limits import LimitsError
from api.rules.units import UnknownUnit, convert, factor, is_force

PERCENT = "%"
# Other quantities that a force laboratory reports: signals, lengths, torques, surroundings.
OTHER_UNITS = (
    PERCENT,
    "mV/V",
    "mV",
    "V",
    "mA",
    "Hz",
    "µm",
    "mm",
    "m",
    "in",
    "N·m",
    "kN·m",
    "lbf·ft",
    "lbf·in",
    "Pa",
    "kPa",
    "MPa",
    "bar",
    "psi",
    "°C",
    "°F",
)


def check_unit(unit: str) -> None:
    """Raise UnknownUnit, with the remedy in its message, for a unit that is not known.

    >>> check_unit("kN"), check_unit("mV/V")
    (None, None)
    """
    if is_force(unit) or unit in OTHER_UNITS:
        return
    try:
        factor(unit)
    except UnknownUnit as unknown:
        raise UnknownUnit(f"{unknown}; other quantities: {', '.join(OTHER_UNITS)}") from None


def in_unit(
    quantity: Decimal, unit: str | None, target: str | None, applied: tuple[Decimal, str] | None
) -> Decimal:
    """Return a quantity in another unit: exactly where the decimal ends, else to 50 digits.

    `applied` is the applied force and its unit; forces become percentages of it and back.

    Raises LimitsError where there is no way from one unit to the other.

    >>> in_unit(Decimal("0.05"), "%", "kN", (Decimal(20), "kN"))
    Decimal('0.01')
    """
    if unit == target:
        return quantity
    if unit is not None and target is not None and is_force(unit) and is_force(target):
        return ratio(convert(quantity, unit, target), Decimal(1))
    if unit is None or target is None:
        raise LimitsError("/unit", f"a unit is needed to express {unit or target} in")
    if PERCENT not in (unit, target):
        raise LimitsError("/unit", f"{unit} cannot be expressed in {target}")
    if applied is None or applied[0] == 0:
        raise LimitsError("/unit", f"{unit} in {target} needs an applied force other than 0")
    force = Fraction(abs(applied[0])) * _force_in(applied[1], target if unit == PERCENT else unit)
    share = force / 100 if unit == PERCENT else 100 / force
    return ratio(Fraction(quantity) * share, Decimal(1))


def _force_in(unit: str, target: str) -> Fraction:
    if unit == target:
        return Fraction(1)
    if not (is_force(unit) and is_force(target)):
        raise LimitsError("/unit", f"{unit} cannot be expressed in {target}")
    return convert(1, unit, target)
