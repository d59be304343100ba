"""Computed gravity against the published values of the Geodetic Reference System 1980."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from api.rules.uncertainty.gravity import computed_gravity, sine_squared


@pytest.mark.parametrize(
    ("latitude", "wanted"),
    [
        # H. Moritz, Geodetic Reference System 1980: equator, 45 degrees and pole, from memory.
        ("0", "9.7803267715"),
        ("45", "9.8061992"),
        ("90", "9.8321863685"),
        ("-90", "9.8321863685"),
    ],
)
def test_normal_gravity_has_its_published_values(latitude, wanted):
    found = computed_gravity(Decimal(latitude), Decimal(0))
    assert found.quantize(Decimal(wanted)) == Decimal(wanted)


def test_gravity_falls_with_height_by_the_free_air_gradient():
    # 3.086e-6 per second squared, about -3.1e-7 relative a metre (from memory).
    sea, hill = (computed_gravity(Decimal(45), Decimal(h)) for h in (0, 1000))
    assert float(sea - hill) / 1000 == pytest.approx(3.086e-6, rel=1e-3)
    # The second-order term: 3 h^2 / a^2 of g, a = 6378137 m.
    higher = computed_gravity(Decimal(45), Decimal(2000))
    curved = float((sea - hill) - (hill - higher))
    assert curved == pytest.approx(2 * 3 * 1000**2 / 6378137**2 * 9.806, rel=1e-3)


def test_the_older_series_agrees_with_the_newer_formula_to_ten_parts_in_a_million():
    for latitude in range(-90, 91, 15):
        old = computed_gravity(Decimal(latitude), Decimal(300), "series_1967")
        new = computed_gravity(Decimal(latitude), Decimal(300))
        assert abs(old - new) < Decimal("0.00002")


def test_the_older_series_is_worked_by_hand_at_45_degrees():
    # 9.780318 x (1 + 0.0053024/2 - 0.0000058) - 0.000003085 x 100
    wanted = Decimal("9.780318") * Decimal("1.0026454") - Decimal("0.0003085")
    assert abs(computed_gravity(Decimal(45), Decimal(100), "series_1967") - wanted) < Decimal(
        "1e-40"
    )


def test_sines_are_those_of_the_standard_library():
    for angle in range(-180, 361, 7):
        wanted = math.sin(math.radians(angle)) ** 2
        assert float(sine_squared(Decimal(angle))) == pytest.approx(wanted, abs=1e-15)
    assert sine_squared(Decimal(180)) == 0
