"""Student's t with exact inputs, against scipy.stats, numpy and the published table."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import sqrt

import numpy as np
import pytest
from scipy import stats

from api.rules.uncertainty.t_tests import (
    NO_SCATTER,
    TOO_FEW,
    coverage_factor,
    paired_t,
    weighted_mean,
    welch_t,
)

P95 = Decimal("0.95")
GROUPS = [
    (["50.00", "50.02", "49.98"], ["49.14", "49.17", "49.12"]),
    (["10.001", "10.004", "10.002", "10.003"], ["10.002", "10.003", "10.001", "10.005"]),
    (["-5.01", "-5.03"], ["-4.90", "-4.99"]),
    (["1e6", "1000001", "999998"], ["1000000.5", "1000003", "999996"]),
]


def exact(texts):
    return [Fraction(text) for text in texts]


def floats(texts):
    return [float(text) for text in texts]


@pytest.mark.parametrize(("first", "second"), GROUPS)
def test_a_paired_t_is_that_of_scipy(first, second):
    pairs = zip(exact(first), exact(second), strict=True)
    found = paired_t([after - before for before, after in pairs], P95)
    wanted = stats.ttest_rel(floats(second), floats(first))
    interval = wanted.confidence_interval(0.95)
    assert float(found.t) == pytest.approx(wanted.statistic, rel=1e-7)
    assert found.p_value == pytest.approx(wanted.pvalue, rel=1e-7)
    assert int(found.dof) == wanted.df
    assert float(found.lower) == pytest.approx(interval.low, rel=1e-7)
    assert float(found.upper) == pytest.approx(interval.high, rel=1e-7)
    assert found.significant is bool(wanted.pvalue < 0.05)


@pytest.mark.parametrize(("first", "second"), GROUPS)
@pytest.mark.parametrize("cut", [0, 1])
def test_an_unpaired_t_is_welchs_of_scipy_with_its_fractional_degrees_of_freedom(
    first, second, cut
):
    first = first[cut:] if len(first) > 2 else first
    found = welch_t(exact(first), exact(second), Decimal("0.9"))
    wanted = stats.ttest_ind(floats(second), floats(first), equal_var=False)
    interval = wanted.confidence_interval(0.9)
    assert float(found.t) == pytest.approx(wanted.statistic, rel=1e-7)
    assert found.p_value == pytest.approx(wanted.pvalue, rel=1e-7)
    assert float(found.dof) == pytest.approx(wanted.df, rel=1e-7)
    assert float(found.lower) == pytest.approx(interval.low, rel=1e-7)


def test_weights_make_the_mean_and_its_uncertainty_those_of_least_squares():
    forces, differences = [10, 20, 50], [Fraction(-1, 5), Fraction(-3, 10), Fraction(-9, 10)]
    ratios = [d / f for d, f in zip(differences, forces, strict=True)]
    found = paired_t(ratios, P95, weights=[Fraction(f) ** 2 for f in forces])
    # The slope of the difference over the force through zero, and its standard error.
    x, y = np.array(forces, float), np.array([float(d) for d in differences])
    (slope,), (squares,), _, _ = np.linalg.lstsq(x[:, None], y, rcond=None)
    assert float(found.mean) == pytest.approx(slope, rel=1e-12)
    error = sqrt(squares / 2 / (x @ x))
    assert float(found.standard_uncertainty) == pytest.approx(error, rel=1e-12)


def test_identical_differences_have_no_t_and_no_interval_but_a_reason():
    found = paired_t([Fraction(-860)] * 3, P95)
    assert (found.mean, found.standard_uncertainty, found.dof) == (-860, 0, 2)
    assert (found.t, found.p_value, found.lower, found.upper) == (None, None, None, None)
    assert found.significant is None
    assert found.reason == NO_SCATTER


def test_identical_readings_in_both_groups_have_no_t_either():
    found = welch_t([Fraction(5)] * 3, [Fraction(4)] * 2, P95)
    assert (found.mean, found.standard_uncertainty, found.dof, found.t) == (-1, 0, 3, None)
    assert found.reason == NO_SCATTER


@pytest.mark.parametrize(
    "found",
    [
        paired_t([Fraction(3)], P95),
        welch_t([Fraction(1)], [Fraction(4), Fraction(4)], P95),
    ],
)
def test_a_single_value_has_a_difference_and_no_scatter(found):
    assert (found.mean, found.standard_uncertainty, found.significant) == (3, None, None)
    assert found.reason == TOO_FEW


def test_the_smallest_scatter_is_told_from_none():
    # In binary floats these three are one number.
    tiny = [Fraction(1), Fraction(1) + Fraction(1, 10**30), Fraction(1)]
    found = paired_t(tiny, P95)
    assert found.reason is None
    assert found.significant
    assert found.p_value < 1e-50


@pytest.mark.parametrize(
    ("dof", "factor"),
    # JCGM 100:2008, table G.2, column 95.45 %; from memory, verify
    [("1", "13.97"), ("2", "4.53"), ("3", "3.31"), ("5", "2.65"), ("10", "2.28"), ("50", "2.05")],
)
def test_the_coverage_factor_is_that_of_the_published_table(dof, factor):
    assert round(coverage_factor(Decimal(dof)), 2) == Decimal(factor)


def test_the_coverage_factor_of_two_degrees_of_freedom_has_a_closed_form():
    # t = a sqrt(2 / (1 - a^2)) with a = 0.954499736104, from memory, verify
    a = 0.954499736104
    assert float(coverage_factor(Decimal(2))) == pytest.approx(a * sqrt(2 / (1 - a * a)), rel=1e-10)


def test_a_weighted_mean_is_exact():
    assert weighted_mean(exact(["1", "2"]), exact(["1", "2"])) == Fraction(5, 3)
