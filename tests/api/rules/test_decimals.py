"""Floats that stand for short decimals are added like decimals."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from api.rules.decimals import (
    acceptance_texts,
    decimal_places,
    exact_factors,
    float_places,
    solved_units,
    tidy_limits,
)
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


def test_a_limit_is_given_inside_the_one_that_decided():
    # sqrt(3) / 2 = 0.86602540378443864..., 2 / 3 and a decimal that was solved for
    root = Decimal(3).sqrt() / 2
    lower, upper = acceptance_texts(Guard("rds"), -root, root)
    assert (lower, upper) == ("-0.866025403784", "0.866025403784")
    solved = Guard("specific_risk", target=Decimal("0.05"))
    texts = acceptance_texts(solved, Decimal("1.0000000000001"), Decimal("798.1026874459999"))
    assert texts == ("1.00000000001", "798.102687445")
    # What is exact is given in full, what has no end towards the inside.
    exact = Guard("U", factor=Decimal(1))
    assert acceptance_texts(exact, Decimal("9.20"), None) == ("9.20", None)
    assert acceptance_texts(exact, Fraction(2, 3), Fraction(2, 3)) == (
        "0.666666666667",
        "0.666666666666",
    )


def test_solved_limits_have_twelve_digits_or_are_not_sure():
    limits = np.array([0.8660254037844386, 9.4, 10.0, np.nan, -9.87654321098765])
    still = np.array([False, False, True, False, False])
    doubt = np.full(5, 1e-15)
    units, exponents, unsure = solved_units(
        limits.astype(np.longdouble), doubt, still, "ROUND_FLOOR"
    )
    # 9.4 may be a little less than that; the third was moved by no guard band.
    assert unsure.tolist() == [False, True, False, True, False]
    assert [units[0], units[2], units[4]] == [866025403784, 100000000000, -987654321099]
    assert [exponents[0], exponents[2], exponents[4]] == [-12, -10, -11]
