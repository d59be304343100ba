"""Correlation coefficients: what is given, what it groups, and what cannot be."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.exact import FieldError
from api.rules.uncertainty.correlation import correlations

NAMES = ["a", "b", "c", "d"]


def pairs(*given):
    return [((one, other), Decimal(r)) for one, other, r in given]


def test_what_is_not_given_is_uncorrelated():
    found = correlations(NAMES, pairs(("b", "a", "0.5")))
    assert [found.r(0, 1), found.r(1, 0), found.r(0, 2), found.r(3, 3)] == [0.5, 0.5, 0, 1]


def test_components_are_grouped_over_others():
    found = correlations(NAMES, pairs(("a", "c", "0.5"), ("c", "d", "-0.2"), ("a", "b", "0")))
    assert found.groups() == [[0, 2, 3], [1]]


def test_a_pair_given_twice_alike_is_one_pair():
    found = correlations(NAMES, pairs(("a", "b", "0.5"), ("b", "a", "0.50"), ("c", "c", "1")))
    assert len(found.pairs) == 1


@pytest.mark.parametrize(
    ("given", "pointer"),
    [
        (pairs(("a", "x", "0.5")), "/correlations/0/between"),
        (pairs(("a", "b", "1.01")), "/correlations/0/r"),
        (pairs(("a", "b", "0.5"), ("a", "a", "0.9")), "/correlations/1/r"),  # unit diagonal
        (pairs(("a", "b", "0.5"), ("b", "a", "0.4")), "/correlations/1/r"),  # symmetric
    ],
)
def test_a_coefficient_that_cannot_be_is_named(given, pointer):
    with pytest.raises(FieldError) as caught:
        correlations(NAMES, given)
    assert caught.value.field == pointer


def test_coefficients_that_cannot_be_at_once_are_refused_by_name():
    # a with b and a with c at 0.9, b with c at -0.9: the determinant is 1 - 3 x 0.81 - 1.458 < 0.
    given = pairs(("a", "b", "0.9"), ("a", "c", "0.9"), ("b", "c", "-0.9"))
    with pytest.raises(FieldError, match="a, b, c is not positive semi-definite"):
        correlations(NAMES, given)


@given(st.lists(st.sampled_from([1, -1]), min_size=3, max_size=3))
def test_full_correlations_are_lawful_whenever_their_signs_multiply_to_one(signs):
    one, other, third = signs
    given = pairs(("a", "b", one), ("b", "c", other), ("a", "c", third))
    if one * other * third == 1:
        assert correlations(NAMES, given).groups() == [[0, 1, 2], [3]]
    else:
        with pytest.raises(FieldError):
            correlations(NAMES, given)
