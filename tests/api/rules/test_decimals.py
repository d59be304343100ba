"""Floats that stand for short decimals are added like decimals."""

from decimal import Decimal

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from api.rules.decimals import decimal_places, exact_factors, float_places, tidy_limits
from api.rules.rule import Guard

short = st.decimals(-1000, 1000, places=6)


@given(st.lists(st.tuples(short, short), min_size=1, max_size=5))
def test_limits_of_short_decimals_are_the_floats_nearest_to_the_exact_ones(rows):
    lower, U = (np.array([float(row[side]) for row in rows]) for side in (0, 1))
    found = {"acceptance_lower": lower + 0.83 * U, "acceptance_upper": lower - 0.83 * U}
    tidy_limits(found, {"lower": lower, "U": U}, Guard("U", factor=Decimal("0.83")))
    exact = [(low + Decimal("0.83") * u, low - Decimal("0.83") * u) for low, u in rows]
    assert found["acceptance_lower"].tolist() == [float(pair[0]) for pair in exact]
    assert found["acceptance_upper"].tolist() == [float(pair[1]) for pair in exact]


def test_long_numbers_and_solved_bands_are_left_as_they_are():
    thirds = np.array([1 / 3, 2 / 3])
    for guard in (Guard("none"), Guard("rds")):
        found = {"acceptance_lower": thirds.copy(), "acceptance_upper": np.array([0.1 + 0.2, 1.0])}
        tidy_limits(found, {"lower": thirds if guard.basis == "none" else np.ones(2)}, guard)
        assert found["acceptance_upper"][0] == 0.1 + 0.2


def test_places_are_those_of_the_number_with_most_of_them():
    assert float_places(np.array([1.0, 0.25, np.nan, 1e-5])) == 5
    assert float_places(np.array([*[1.0] * 500, 0.125, *[2.0] * 500])) == 3
    assert float_places(np.array([np.nan])) == 0
    assert float_places(np.array([1e16])) is None
    assert decimal_places(Decimal("1E-3")) == 3


def test_a_band_without_an_end_has_no_factors():
    assert exact_factors(Guard("managed")) is None
    assert exact_factors(Guard("absolute", width=(Decimal(1), Decimal(2)))) == (1, 2)
