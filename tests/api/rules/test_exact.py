"""Numbers keep their digits: arithmetic is exact, floats are refused, printing is plain."""

from decimal import Decimal, getcontext
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.exact import (
    FieldError,
    coerce,
    difference_over,
    double,
    exact_arithmetic,
    finite,
    plain,
    ratio,
    reported_uncertainty,
    reported_value,
    root_sum_square,
    square_root,
)


def test_sums_far_beyond_the_usual_28_digits_are_exact():
    with exact_arithmetic():
        assert Decimal("1E+40") + Decimal("1E-40") - Decimal("1E+40") == Decimal("1E-40")


def test_a_sum_that_cannot_be_exact_is_an_error_and_not_a_rounding():
    with pytest.raises(FieldError, match="thousand decimal places"), exact_arithmetic():
        Decimal("1E+900") + Decimal("1E-900")


def test_the_surrounding_decimal_context_is_left_as_it_was():
    before = getcontext().prec
    with exact_arithmetic():
        assert getcontext().prec > before
    assert getcontext().prec == before


def test_a_float_is_refused_because_its_digits_are_not_those_that_were_written():
    with pytest.raises(TypeError, match="U must be a Decimal or a Fraction, not float"):
        finite(0.1, "U")
    with pytest.raises(TypeError, match="not bool"):
        finite(True, "U")


@pytest.mark.parametrize("text", ["NaN", "sNaN", "Infinity", "1E+1001", "1E-1001", "0E-1001"])
def test_a_number_that_is_not_finite_or_huge_points_at_its_field(text):
    with pytest.raises(FieldError) as caught:
        finite(Decimal(text), "value")
    assert caught.value.field == "/value"


def test_a_fraction_is_never_cut_down_to_a_decimal():
    with pytest.raises(TypeError, match="Fractions throughout"):
        coerce(Fraction(1, 3), Decimal)
    assert coerce(Decimal("0.1"), Fraction) == Fraction(1, 10)


@settings(deadline=None)
@given(st.integers(-(10**30), 10**30), st.integers(1, 10**30))
def test_a_quotient_is_the_same_from_decimals_and_from_fractions(top, bottom):
    assert ratio(Decimal(top), Decimal(bottom)) == ratio(Fraction(top), Fraction(bottom))


def test_roots_have_fifty_digits():
    # From memory: the square root of 2.
    assert str(square_root(Decimal(2))).startswith("1.41421356237309504880168872420969807856967")
    assert len(square_root(Decimal(2)).as_tuple().digits) == 50
    assert root_sum_square([Decimal("0.3"), Decimal("0.4")]) == Decimal("0.5")


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (Decimal("0.10"), "0.10"),
        (Decimal("1E+3"), "1000"),
        (Decimal("-0.0"), "0.0"),
        (Fraction(1, 3), "0.333333333333"),
        (Fraction(-1, 40), "-0.025"),
        (Fraction(200000000000000, 3), "66666666666700"),
        (Decimal("0." + "3" * 50), "0.333333333333"),
        (Fraction(25, 10**13), "0.0000000000025"),
        (Fraction(1, 2**40), "0.0000000000009094947017729282379150390625"),
    ],
)
def test_numbers_are_printed_plainly(number, text):
    assert plain(number) == text


@pytest.mark.parametrize(
    ("U", "rounded"),
    [("0.1201", "0.13"), ("0.12", "0.12"), ("0.2", "0.2"), ("12.01", "13"), ("0.996", "1.0")],
)
def test_reported_uncertainty_is_rounded_up_to_two_digits_at_most(U, rounded):
    assert plain(reported_uncertainty(Decimal(U))) == rounded


def test_reported_value_ends_where_its_uncertainty_ends():
    assert reported_value(Decimal("10.0250"), Decimal("0.0141")) == Decimal("10.025")
    assert plain(reported_value(Decimal("10.5"), Decimal("3"))) == "10"
    assert reported_value(Decimal("10.123"), Decimal(0)) == Decimal("10.123")


tidy = st.decimals(-(10**6), 10**6, places=6)


@given(tidy, tidy, tidy, st.decimals("0.000001", 10**6, places=6))
def test_decimals_and_fractions_give_the_same_quotient_of_a_difference(a, b, factor, divisor):
    found = difference_over(a, b, factor, divisor)
    fractions = (Fraction(number) for number in (a, b, factor, divisor))
    assert found == difference_over(*fractions)
    assert plain(found) == plain(difference_over(Fraction(a), b, factor, divisor))


def test_a_difference_too_wide_for_the_exact_context_is_left_to_fractions():
    far, near = Decimal("1E+900"), Decimal("1E-900")
    assert difference_over(far, near, Decimal(1), far) == 1


def test_doubling_keeps_all_digits():
    long = Decimal("1." + "0" * 40 + "1")
    assert double(long) == Decimal("2." + "0" * 40 + "2")
    assert double(Fraction(1, 3)) == Fraction(2, 3)


def test_a_reported_U_has_no_noise_of_floats_and_a_whole_number_all_its_places():
    # As budgets report it: from 12 digits, rounded up (ILAC-P14:09/2020, 5.5, from memory)
    assert str(reported_uncertainty(Decimal("0.020000000000000004"))) == "0.020"
    assert str(reported_uncertainty(Decimal("0.0200001"))) == "0.021"
    # 100 and 1e2 are one number, and so is what they leave of a value: tens
    for U in ("100", "1e2", "1.0e2"):
        assert plain(reported_uncertainty(Decimal(U))) == "100"
        assert plain(reported_value(Decimal(1234), Decimal(U))) == "1230"
