"""Life, rate and weighted count; expected values are worked in the comments."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.fitting.life import US_A_DAY, counted, retirement_us, state, weighted


@pytest.mark.parametrize(
    ("used", "found"),
    # Common practice, no source: adapters are designed for at least 500,000 load cycles.
    [
        (0, "active"),
        (449_999, "active"),
        (450_000, "warn"),
        (500_000, "warn"),
        (500_001, "past_life"),
    ],
)
def test_a_part_is_warned_of_from_ninety_percent_and_past_its_life_beyond_it(used, found):
    assert state(used, 500_000) == found


def test_the_end_is_foreseen_in_a_straight_line():
    # 400 left at 73 in 365 days = 0.2 a day: 2000 days.
    assert retirement_us(2000, 2400, 73, 365, 0) == 2000 * US_A_DAY


@pytest.mark.parametrize(("used", "recent"), [(2000, 0), (2400, 10), (2500, 10)])
def test_without_rate_or_life_nothing_is_foreseen(used, recent):
    assert retirement_us(used, 2400, recent, 365, 0) is None


def test_a_weighted_count_shares_the_applications_among_the_forces():
    # 10 x ((1/2)^3 + 1^3) / 2 = 10 x 9/16 = 45/8
    assert weighted(10, [Fraction(5), Fraction(10)], Fraction(10), 3) == Fraction(45, 8)
    assert weighted(10, [], Fraction(10), 3) == 10
    assert weighted(10, [Fraction(-5)], Fraction(10), 1) == 5


@pytest.mark.parametrize(("rated", "m"), [(0, 3), (-1, 3), (10, 0)])
def test_a_weighted_count_needs_a_capacity_and_an_exponent(rated, m):
    with pytest.raises(ValueError, match="above zero"):
        weighted(1, [Fraction(1)], Fraction(rated), m)


def test_a_weighted_count_is_written_with_twelve_digits():
    assert counted(Fraction(2, 3)) == Decimal("0.666666666667")
    assert str(counted(Fraction(1500))) in ("1500", "1.5E+3")


@given(
    st.integers(0, 1000),
    st.lists(st.fractions(0, 10), max_size=5),
    st.integers(1, 8),
)
def test_forces_within_the_rated_capacity_never_count_more_than_applications(number, forces, m):
    assert 0 <= weighted(number, forces, Fraction(10), m) <= number
