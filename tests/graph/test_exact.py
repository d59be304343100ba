"""Exact roots and exact text."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graph.exact import root, text

FRACTIONS = st.fractions(min_value=-(10**9), max_value=10**9, max_denominator=10**9)


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ("0", "0"),
        ("-0.0150", "-0.015"),
        ("100", "100"),
        ("1/8", "0.125"),
        ("-1/3", "-0.333333333333"),
        ("2/3", "0.666666666667"),
        ("1/3000000", "0.000000333333333333"),
        ("1000000000000000/3", "333333333333000"),
    ],
)
def test_text_is_plain_and_ends_where_the_decimal_ends(value, written):
    assert text(Fraction(value)) == written


def test_text_without_end_is_rounded_half_to_even_at_twelve_digits():
    # The 13th digit is a 5 followed by nothing: to the even neighbour, down and up.
    assert text(Fraction("0.1234567890125"), exact=False) == "0.123456789012"
    assert text(Fraction("0.1234567890135"), exact=False) == "0.123456789014"
    # An exact value keeps all its digits.
    assert text(Fraction("0.1234567890125")) == "0.1234567890125"


@given(FRACTIONS)
def test_text_is_the_number_or_within_its_twelfth_digit(value):
    written = Fraction(text(value))
    assert abs(written - value) <= abs(value) * Fraction(1, 10**11) / 2
    assert "E" not in text(value).upper()


@given(st.fractions(min_value=0, max_value=10**6, max_denominator=10**6))
def test_the_root_of_a_square_is_exact(value):
    assert root(value**2) == (value, True)


@pytest.mark.parametrize("two", [Decimal(2), Fraction(2)])
def test_the_root_of_two_has_fifty_digits(two):
    found, exact = root(two)
    # The first 40 digits of the root of two, from memory.
    assert str(found).startswith("1.414213562373095048801688724209698078569")
    assert not exact
