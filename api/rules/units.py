"""Units of force: what a force is in newton, exactly.

Choice: every factor is an exact rational from the international pound (0.453 592 37 kg), standard
gravity (9.806 65 m/s2), and the ton of 2000 lb (US) or 2240 lb (UK). A name that people use for
more than one unit, or for a unit of mass, is refused with the remedy; nothing is guessed.

Not checked: whether a mass-marked scale was adjusted for local gravity; declare the force instead.
"""

import re
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from api.rules.exact import Number

_GRAVITY = Fraction("9.80665")
_POUND_FORCE = Fraction("0.45359237") * _GRAVITY

_FACTORS = {
    "N": Fraction(1),
    "kN": Fraction(1_000),
    "MN": Fraction(1_000_000),
    "lbf": _POUND_FORCE,
    "kip": 1_000 * _POUND_FORCE,
    "klbf": 1_000 * _POUND_FORCE,
    "kgf": _GRAVITY,
    "gf": _GRAVITY / 1_000,
    "tf": 1_000 * _GRAVITY,
    "tonf_US": 2_000 * _POUND_FORCE,
    "tonf_UK": 2_240 * _POUND_FORCE,
}

# Names of the units of force.
FORCE_UNITS: tuple[str, ...] = tuple(_FACTORS)

_TON = "names several units; use tf (metric, 1000 kgf), tonf_US (2000 lbf) or tonf_UK (2240 lbf)"
_MASS = "is a unit of mass; declare the force it stands for and use"
_REMEDIES = {
    "kg": f"{_MASS} kgf",
    "g": f"{_MASS} gf",
    "lb": f"{_MASS} lbf",
    "lbs": f"{_MASS} lbf",
    "klb": f"{_MASS} klbf",
    "klbs": f"{_MASS} klbf",
    "tonne": f"{_MASS} tf",
    "tonnes": f"{_MASS} tf",
    "te": f"{_MASS} tf",
    "t": _TON,
    "T": _TON,
    "mt": _TON,
    "MT": _TON,
    "ton": _TON,
    "tons": _TON,
    "tonf": _TON,
    "K": "names several units; use kip (1000 lbf) or kN",
    "k": "names several units; use kip (1000 lbf) or kN",
    "kips": "is a plural; use kip",
    "kp": "is an old name; use kgf",
}


class UnknownUnit(ValueError):
    """A unit name that is unknown, ambiguous or not a force; the message says what to write."""


def factor(unit: str) -> Fraction:
    """Return the exact number of newtons in one `unit`.

    Parameters
    ----------
    unit : str
        One of FORCE_UNITS.

    Returns
    -------
    Fraction

    Raises
    ------
    UnknownUnit
        With the remedy in its message.

    Examples
    --------
    >>> factor("lbf")
    Fraction(8896443230521, 2000000000000)
    >>> factor("kg")
    Traceback (most recent call last):
    api.rules.units.UnknownUnit: kg is a unit of mass; declare the force it stands for and use kgf
    """
    try:
        return _FACTORS[unit]
    except KeyError:
        raise UnknownUnit(_remedy(unit)) from None


def is_force(unit: str | None) -> bool:
    """Say whether `unit` is the exact name of a known force unit.

    Parameters
    ----------
    unit : str or None
        The name as written.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_force("kN"), is_force("kg")
    (True, False)
    """
    return unit in _FACTORS


def to_newton(value: Number | int, unit: str) -> Fraction:
    """Return `value` in newton, exactly.

    Parameters
    ----------
    value : Decimal, Fraction or int
        The force in `unit`.
    unit : str
        One of FORCE_UNITS.

    Returns
    -------
    Fraction

    Raises
    ------
    UnknownUnit
        With the remedy in its message.

    Examples
    --------
    >>> to_newton(Decimal("0.5"), "kip") == to_newton(Decimal(500), "lbf")
    True
    """
    return Fraction(value) * factor(unit)


def convert(value: Number | int, unit: str, target: str) -> Fraction:
    """Return `value`, given in `unit`, expressed in `target`, exactly.

    Equal names need no factor, so any unit text may be kept (`%`, `mV/V`).

    Parameters
    ----------
    value : Decimal, Fraction or int
        The force in `unit`.
    unit, target : str
        Members of FORCE_UNITS, or the same text.

    Returns
    -------
    Fraction

    Raises
    ------
    UnknownUnit
        With the remedy in its message.

    Examples
    --------
    >>> convert(Decimal("2.5"), "tf", "kgf")
    Fraction(2500, 1)
    """
    if unit == target:
        return Fraction(value)
    return to_newton(value, unit) / factor(target)


def parse_quantity(text: str) -> tuple[Decimal, str]:
    """Split `5 kN` into its number, digits kept, and its unit.

    Parameters
    ----------
    text : str
        A number followed by a unit of force.

    Returns
    -------
    tuple of Decimal and str

    Raises
    ------
    ValueError
        If it has no number or no unit.
    UnknownUnit
        If the unit is not one of force.

    Examples
    --------
    >>> parse_quantity("5.00 kN")
    (Decimal('5.00'), 'kN')
    """
    match = re.fullmatch(r"\s*([+-]?[0-9.]+(?:[eE][+-]?[0-9]{1,3})?)\s*([^\W\d]\w*)\s*", text)
    if match is None:
        raise ValueError(f"{text!r} is not a number followed by a unit of force, as in '5 kN'")
    factor(match[2])
    try:
        return Decimal(match[1]), match[2]
    except InvalidOperation:
        raise ValueError(f"{match[1]!r} is not a number") from None


def _remedy(unit: str) -> str:
    if unit in _REMEDIES:
        return f"{unit} {_REMEDIES[unit]}"
    spelled = {name.lower(): name for name in FORCE_UNITS}
    if unit.strip().lower() in spelled:
        return f"{unit!r} is not spelled as a unit of force; use {spelled[unit.strip().lower()]}"
    return f"{unit!r} is not a unit of force; use one of {', '.join(FORCE_UNITS)}"
