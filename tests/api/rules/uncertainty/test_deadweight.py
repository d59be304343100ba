"""Deadweight force against worked values, a reference library and Monte Carlo."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from uncertainties import ufloat

from api.rules.uncertainty.deadweight import MASS_UNITS, Measured, Piece, deadweight_force
from api.rules.units import convert

LOCAL = Measured(Fraction("9.80101"), Fraction(0))
AIR = Measured(Fraction("1.2"), Fraction(0))


def exactly(value):
    return Measured(Fraction(value), Fraction(0))


def steel(mass="500", density="7840", basis="true"):
    return Piece(exactly(mass), exactly(density), basis)


@pytest.mark.parametrize(("density", "wanted"), [("7840", "4899.754923"), ("2700", "4898.326998")])
def test_500_kg_make_their_worked_force(density, wanted):
    # 500 x 9.80101 x (1 - 1.2/density): plain arithmetic, to a micronewton.
    found = deadweight_force([steel(density=density)], LOCAL, AIR).force
    assert format(float(found), ".6f") == wanted


def test_ten_thousand_pounds_of_steel_make_less_than_ten_thousand_pounds_of_force():
    mass = Fraction(10_000) * MASS_UNITS["lb"]
    found = deadweight_force([Piece(exactly(mass), exactly(7840))], LOCAL, AIR).force
    assert format(float(convert(found, "N", "lbf")), ".3f") == "9992.719"


def test_in_a_vacuum_at_standard_gravity_a_kilogram_makes_a_kilogram_force():
    found = deadweight_force([steel("1")], exactly("9.80665"), exactly(0)).force
    assert convert(found, "N", "kgf") == 1


def test_a_conventional_mass_of_8000_is_its_true_mass():
    true = deadweight_force([steel(density="8000")], LOCAL, AIR)
    conventional = deadweight_force([steel(density="8000", basis="conventional")], LOCAL, AIR)
    assert conventional.force == true.force
    assert conventional.pieces[0].true_mass == 500


def test_in_conventional_air_the_density_of_a_conventional_mass_does_not_matter():
    forces = {
        deadweight_force([steel(density=density, basis="conventional")], LOCAL, AIR).force
        for density in ("2700", "7840", "8000")
    }
    # All equal 500 g (1 - 1.2/8000): what the conventional mass is defined by (OIML R 111-1).
    assert forces == {500 * LOCAL.value * (1 - Fraction("1.2") / 8000)}


def test_a_conventional_mass_becomes_a_true_one_by_its_definition():
    found = deadweight_force([steel(density="2700", basis="conventional")], LOCAL, exactly("1.1"))
    true = 500 * (1 - Fraction("1.2") / 8000) / (1 - Fraction("1.2") / 2700)
    assert found.pieces[0].true_mass == true
    assert found.force == true * LOCAL.value * (1 - Fraction("1.1") / 2700)


def force_of(mass, density, gravity, air, basis):
    true = mass if basis == "true" else mass * (1 - 1.2 / 8000) / (1 - 1.2 / density)
    return true * gravity * (1 - air / density)


@pytest.mark.parametrize("basis", ["true", "conventional"])
def test_the_uncertainty_of_one_mass_is_that_of_a_reference_library(basis):
    mass, density = ufloat(500, 0.004), ufloat(7840, 40)
    gravity, air = ufloat(9.80101, 2e-5), ufloat(1.15, 0.02)
    wanted = force_of(mass, density, gravity, air, basis)

    def given(value):
        return Measured(Fraction(value.n), Fraction(value.s))

    found = deadweight_force(
        [Piece(given(mass), given(density), basis)], given(gravity), given(air)
    )
    assert float(found.force) == pytest.approx(wanted.n, rel=1e-14)
    assert float(found.u) == pytest.approx(wanted.s, rel=1e-10)
    parts = {one.quantity: float(one.u) for one in found.parts}
    components = wanted.error_components()
    assert [parts[n] for n in ("mass", "density", "gravity", "air_density")] == pytest.approx(
        [components[q] for q in (mass, density, gravity, air)], rel=1e-9
    )


@pytest.mark.parametrize("correlated", [True, False])
def test_the_uncertainty_of_a_stack_is_that_of_a_monte_carlo(correlated):
    # JCGM 101: 400 000 draws; the standard deviation is sure to about 0.1 %.
    random, draws = np.random.default_rng(20250310), 400_000
    masses, density = (200.0, 100.0, 50.0), 7850.0
    gravity, air = random.normal(9.81, 1e-5, draws), random.normal(1.19, 0.05, draws)
    common = [random.normal(0, 1, draws) for _ in range(2)]
    total = np.zeros(draws)
    for mass in masses:
        one, two = common if correlated else [random.normal(0, 1, draws) for _ in range(2)]
        drawn = mass * (1 + 2e-6 * one), density + 70 * two
        total += force_of(*drawn, gravity, air, "true")
    found = deadweight_force(
        [
            Piece(
                Measured(Fraction(mass), Fraction(mass) * Fraction("2e-6")),
                Measured(Fraction(density), Fraction(70)),
            )
            for mass in masses
        ],
        Measured(Fraction("9.81"), Fraction("1e-5")),
        Measured(Fraction("1.19"), Fraction("0.05")),
        correlated=correlated,
    )
    assert float(found.u) == pytest.approx(total.std(), rel=5e-3)
    assert float(found.force) == pytest.approx(total.mean(), abs=4 * total.std() / draws**0.5)
