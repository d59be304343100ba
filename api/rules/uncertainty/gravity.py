"""How strong is gravity where nobody measured it? From latitude and height.

Choice: normal gravity of the Geodetic Reference System 1980 in Somigliana's closed form, carried up
by the second-order free-air term of the same system (H. Moritz, Geodetic Reference System 1980,
Journal of Geodesy; constants from memory, the values at equator and pole are published). The older
series with the constants of 1967 and 3.085e-6 per second squared of height, as legal metrology
quotes it, is offered beside it (from memory, verify).

Not checked: the local anomaly. Mountains and ore bodies move g by some 1e-4 m/s2, at places by
several 1e-4 (common knowledge, no source), and no formula of latitude knows of them; whoever uses a
computed value states its uncertainty. The height is taken as if above the ellipsoid.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from api.rules.exact import exact_arithmetic, fifty_digits, ratio, square_root

# Formulas of gravity by latitude and height, in words.
FORMULAS = {
    "grs80": "normal gravity, GRS 1980, closed form, second-order free-air term",
    "series_1967": "series of 1967 with a linear free-air term, from memory, verify",
}

# Geodetic Reference System 1980.
_EQUATOR = Decimal("9.7803267715")
_SOMIGLIANA_K = Decimal("0.001931851353")
_ECCENTRICITY_SQUARED = Decimal("0.00669438002290")
_SEMI_MAJOR_AXIS = Decimal(6378137)
_FLATTENING = Decimal("0.00335281068118")
_ROTATION = Decimal("0.00344978600308")

_PI = Decimal("3.14159265358979323846264338327950288419716939937510582097494459")
_TERMS = 60


def computed_gravity(latitude_deg: Decimal, height_m: Decimal, formula: str = "grs80") -> Decimal:
    """Return g at a latitude and height, without the local anomaly.

    Parameters
    ----------
    latitude_deg : Decimal
        In degrees, south negative.
    height_m : Decimal
        In metres.
    formula : str
        A key of FORMULAS.

    Returns
    -------
    Decimal
        In m/s2, 50 digits.

    Raises
    ------
    KeyError
        For a formula that is not in FORMULAS.

    Examples
    --------
    >>> format(computed_gravity(Decimal(45), Decimal(0)), ".7f")
    '9.8061992'
    """
    return {"grs80": _grs80, "series_1967": _series_1967}[formula](latitude_deg, height_m)


def _grs80(latitude_deg: Decimal, height_m: Decimal) -> Decimal:
    square = sine_squared(latitude_deg)
    with exact_arithmetic():
        above = _EQUATOR * (1 + _SOMIGLIANA_K * square)
        below = 1 - _ECCENTRICITY_SQUARED * square
    surface = ratio(above, square_root(fifty_digits(below)))
    flattening, rotation = Fraction(_FLATTENING), Fraction(_ROTATION)
    linear = 2 * (1 + flattening + rotation - 2 * flattening * Fraction(square))
    up = Fraction(height_m) / Fraction(_SEMI_MAJOR_AXIS)
    return ratio(Fraction(surface) * (1 - linear * up + 3 * up**2), Decimal(1))


def _series_1967(latitude_deg: Decimal, height_m: Decimal) -> Decimal:
    square = sine_squared(latitude_deg)
    with exact_arithmetic():
        double = 4 * square * (1 - square)
        series = 1 + Decimal("0.0053024") * square - Decimal("0.0000058") * double
        value = Decimal("9.780318") * series - Decimal("0.000003085") * height_m
    return fifty_digits(value)


def sine_squared(angle_deg: Decimal) -> Decimal:
    """Return the square of the sine of an angle in degrees, to 50 digits.

    >>> format(sine_squared(Decimal(30)), ".30f")
    '0.250000000000000000000000000000'
    """
    # (1 - cos 2x) / 2 by the series of the cosine, in fixed point of 70 places.
    one = 10**70
    turned = 2 * (Fraction(angle_deg) % 180) * Fraction(_PI) / 180
    if turned > Fraction(_PI):
        turned -= 2 * Fraction(_PI)  # a short series for every angle
    square = int(turned**2 * one)
    term, cosine = one, one
    for n in range(1, _TERMS):
        term = -term * square // one // ((2 * n - 1) * (2 * n))
        cosine += term
    return max(fifty_digits((Decimal(one - cosine) / 2).scaleb(-70)), Decimal(0))
