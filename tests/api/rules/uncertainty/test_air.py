"""The density of air by the approximation of OIML R 111-1:2004, E.3-1 (from memory, verify)."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from uncertainties import ufloat
from uncertainties.umath import exp

from api.rules.uncertainty.air import air_density


def formula(t, p, h):
    """Write the equation once more, in floats."""
    growth = exp(0.061 * t) if hasattr(t, "n") else math.exp(0.061 * t)
    return (0.34848 * p - 0.009 * h * growth) / (273.15 + t)


def density(t, p, h):
    return air_density(Decimal(t), Decimal(p), Decimal(h))


def test_usual_air_weighs_twelve_hundred_grams_a_cubic_metre():
    # CIPM-2007 gives about 1.1992 kg/m3 at 20 degC, 1013.25 hPa, 50 % (from memory).
    assert float(density("20", "1013.25", "50").density) == pytest.approx(1.1992, abs=2e-4)


@pytest.mark.parametrize(
    "given", [("20", "1013.25", "50"), ("12.5", "950", "0"), ("29", "905", "79")]
)
def test_the_density_is_that_of_the_equation(given):
    assert float(density(*given).density) == pytest.approx(formula(*map(float, given)), rel=1e-14)


def test_the_sensitivities_are_those_of_a_reference_library():
    found = density("23", "985", "45")
    t, p, h = ufloat(23, 0.1), ufloat(985, 0.5), ufloat(45, 2)
    derivatives = formula(t, p, h).derivatives
    wanted = {
        "temperature_C": derivatives[t],
        "pressure_hPa": derivatives[p],
        "humidity_pct": derivatives[h],
    }
    assert {k: float(v) for k, v in found.sensitivities.items()} == pytest.approx(wanted, rel=1e-12)


def test_conditions_outside_the_range_of_the_formula_are_named():
    assert density("20", "1013", "50").out_of_range == ()
    assert density("9.9", "1100", "80").out_of_range == ("temperature_C",)
    assert density("30", "899", "81").out_of_range == ("pressure_hPa", "humidity_pct")
