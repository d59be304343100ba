"""Comparing found with required: equality is inside, deviations are exact (arithmetic beside)."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.fitting.fit import at_most, compare, same_word
from api.rules.fitting.lengths import parse_length

NUMBERS = st.fractions(0, 1000)


def test_a_pin_of_fifty_millimetres_is_0_8_mm_too_small_for_two_inches():
    fit = compare(parse_length("2 in").mm, parse_length("50 mm").mm)
    # 50 - 50.8 = -0.8; -0.8 / 50.8 = -2/127
    assert (fit.agrees, fit.off_by, fit.relative) == (False, Fraction("-0.8"), Fraction(-2, 127))


@pytest.mark.parametrize(
    ("found", "agrees"), [("9.8", True), ("9.79", False), ("10.1", True), ("10.11", False)]
)
def test_a_value_on_its_limit_agrees(found, agrees):
    fit = compare(Fraction(10), Fraction(found), plus=Fraction("0.1"), minus=Fraction("0.2"))
    assert fit.agrees is agrees


def test_a_limit_may_be_reached_and_not_passed():
    assert at_most(Fraction(10), Fraction(10)).agrees
    assert not at_most(Fraction(10), Fraction("10.0001")).agrees


def test_nothing_is_a_share_of_zero():
    assert compare(Fraction(0), Fraction(1)).relative is None
    assert at_most(Fraction(0), Fraction(1)).relative is None


def test_a_tolerance_has_a_size_and_no_sign():
    with pytest.raises(ValueError, match="not negative"):
        compare(Fraction(1), Fraction(1), plus=Fraction(-1))


@pytest.mark.parametrize(
    ("found", "same"), [("Bow", True), (" bow ", True), ("dee", False), (None, False), (5, False)]
)
def test_words_agree_whatever_their_case_and_spacing(found, same):
    assert same_word("bow", found) is same


@given(NUMBERS, NUMBERS, NUMBERS, NUMBERS, st.fractions(Fraction(1, 100), 100))
def test_another_unit_changes_no_finding(required, found, plus, minus, unit):
    one = compare(required, found, plus, minus)
    other = compare(required * unit, found * unit, plus * unit, minus * unit)
    assert (one.agrees, one.relative) == (other.agrees, other.relative)
    assert other.off_by == one.off_by * unit
