"""Digits of an uncertainty; expected values are the arithmetic in the names."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.uncertainty.rounding import is_rounding_of, root, rounded_up, text, to_match

positive = st.decimals("0.0001", 10000, places=7)


def test_a_root_that_ends_is_exact():
    assert root(Fraction("0.0144")) == Decimal("0.12")


def test_the_noise_of_a_root_does_not_lift_a_reported_uncertainty():
    noisy = root(Fraction(2)) * root(Fraction(2)) / 10  # 0.2 and something in the 50th place
    assert rounded_up(noisy) == Decimal("0.20")
    assert rounded_up(Decimal("0.2000001")) == Decimal("0.21")


@given(positive, st.sampled_from([1, 2]))
def test_a_reported_uncertainty_is_never_smaller_and_has_so_many_digits(U, digits):
    shown = rounded_up(U, digits)
    assert shown >= U
    assert len(shown.as_tuple().digits) == digits
    assert shown - U < Decimal(10) ** (shown.adjusted() - digits + 1)


def test_a_value_is_rounded_to_the_place_of_its_uncertainty():
    # JCGM 100:2008, H.1.7 (read in public tests of open code): l = 50.000 838 mm, U = 93 nm.
    assert to_match(Decimal("50.0008381"), rounded_up(Decimal("0.0000926"))) == Decimal("50.000838")
    assert format(to_match(Decimal("12345"), rounded_up(Decimal(123))), "f") == "12340"
    assert to_match(Decimal("1.25"), Decimal(0)) == Decimal("1.25")


def test_an_endless_number_has_twelve_digits_and_no_exponent():
    assert text(Fraction(2, 3)) == "0.666666666667"
    assert text(Fraction(1, 3_000_000)) == "0.000000333333333333"
    assert text(Decimal("1E+3")) == "1000"


@pytest.mark.parametrize(
    ("sent", "U", "expected"),
    [
        ("0.0926", "0.0926", True),
        ("0.093", "0.0926", True),  # two digits, up or nearest
        ("0.1", "0.0926", True),  # one digit, up
        ("0.09", "0.0926", True),  # one digit, nearest
        ("0.092", "0.0926", False),
        ("0.094", "0.0926", False),
        ("1", "0.0926", False),  # its place lies above the first digit of U
        ("0.1", "0.0123", False),
        ("1200", "1163", True),  # two digits, up
        ("1160", "1163", True),
        ("1300", "1163", False),
        ("0.020", "0.0199", True),
        ("0.0200", "0.0199", False),
        ("0", "0.0199", False),
        ("0", "0", True),
    ],
)
def test_a_rounding_is_told_from_another_number(sent, U, expected):
    assert is_rounding_of(Decimal(sent), Decimal(U)) is expected


@given(positive, st.sampled_from([1, 2]))
def test_what_is_reported_is_a_rounding_of_what_was_found(U, digits):
    assert is_rounding_of(rounded_up(U, digits), U)
