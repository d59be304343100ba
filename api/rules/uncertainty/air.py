"""How dense is moist air? From its temperature, pressure and humidity.

Choice: the approximation with an exponential that OIML R 111-1:2004, E.3 (equation E.3-1, from
memory, verify) gives for the CIPM formula, with its relative uncertainty of 2e-4 taken as a
standard uncertainty. It holds from 900 hPa to 1100 hPa, 10 degC to 30 degC and below 80 % relative
humidity; outside, the value is given and marked.

Not checked: the share of carbon dioxide, and whether the conditions were measured at the masses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import exact_arithmetic, exponential, fifty_digits, ratio

SOURCE = "OIML R 111-1:2004, E.3-1, from memory, verify"
FORMULA_U_REL = Decimal("0.0002")
_RANGES = {
    "temperature_C": (Decimal(10), Decimal(30)),
    "pressure_hPa": (Decimal(900), Decimal(1100)),
    "humidity_pct": (Decimal(0), Decimal(80)),
}
_ZERO_C = Decimal("273.15")
_PRESSURE, _VAPOUR, _GROWTH = Decimal("0.34848"), Decimal("0.009"), Decimal("0.061")


@dataclass(frozen=True, slots=True)
class AirDensity:
    """The density of air, and what it changes with.

    Attributes
    ----------
    density : Decimal
        In kg/m3, 50 digits.
    sensitivities : mapping of str to Decimal
        Change of the density with each input, by its name: kg/m3 for one unit of `temperature_C`,
        `pressure_hPa` and `humidity_pct`.
    out_of_range : tuple of str
        Inputs outside the range of the formula.
    """

    density: Decimal
    sensitivities: Mapping[str, Decimal]
    out_of_range: tuple[str, ...]


def air_density(temperature_C: Decimal, pressure_hPa: Decimal, humidity_pct: Decimal) -> AirDensity:
    """Return the density of moist air (OIML R 111-1:2004, E.3-1, from memory, verify).

    Parameters
    ----------
    temperature_C : Decimal
        In degrees Celsius, above absolute zero; the formula holds from 10 to 30.
    pressure_hPa : Decimal
        In hPa, not negative; the formula holds from 900 to 1100.
    humidity_pct : Decimal
        Relative humidity in percent, not negative; the formula holds up to 80.

    Returns
    -------
    AirDensity

    Examples
    --------
    >>> format(air_density(Decimal(20), Decimal("1013.25"), Decimal(50)).density, ".4f")
    '1.1993'
    """
    with exact_arithmetic():
        kelvin = _ZERO_C + temperature_C
        growth = fifty_digits(_GROWTH * temperature_C)
    vapour = fifty_digits(exponential(growth))
    with exact_arithmetic():
        humid = _VAPOUR * vapour
        above = _PRESSURE * pressure_hPa - humid * humidity_pct
        warmer = humid * humidity_pct * _GROWTH
    density = ratio(above, kelvin)
    given = {
        "temperature_C": temperature_C,
        "pressure_hPa": pressure_hPa,
        "humidity_pct": humidity_pct,
    }
    outside = [name for name, (low, high) in _RANGES.items() if not low <= given[name] <= high]
    return AirDensity(
        density,
        {
            "temperature_C": ratio(-Fraction(density) - Fraction(warmer), Fraction(kelvin)),
            "pressure_hPa": ratio(_PRESSURE, kelvin),
            "humidity_pct": ratio(-humid, kelvin),
        },
        tuple(outside),
    )
