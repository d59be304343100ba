"""Joint risks against SciPy's multivariate normal distribution and mpmath.

That independent probabilities multiply is JCGM 106:2012, 7, and the EURACHEM/CITAC guide (from
memory); that a common normal cause gives correlations l_i l_j is algebra.
"""

import math

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, t

from api.rules.joint import Distances, joint_risk, total_global_risk

INF = math.inf


def rectangle(results, correlation):
    """P(all conform) by SciPy's multivariate normal, Genz's method beyond two dimensions."""
    low, high = (np.array([one[side] for one in results]) for side in (0, 1))
    return multivariate_normal.cdf(
        high, cov=correlation, lower_limit=low, abseps=1e-9, releps=1e-9, maxpts=2_000_000, rng=1
    )


def test_independent_results_multiply_and_keep_small_risks():
    # Five tails at 6.5 u: the sum of the risks less products of 1e-21, by mpmath.
    found = joint_risk([Distances(-INF, 6.5)] * 5)
    with mpmath.workdps(40):
        exact = 1 - mpmath.ncdf(mpmath.mpf("6.5")) ** 5
    assert found.consumer == pytest.approx(float(exact), rel=1e-12)
    assert found.conforming == pytest.approx(1.0, rel=1e-9)


def test_degrees_of_freedom_count_for_independent_results():
    one, other = Distances(-2.0, 2.0, 5.0), Distances(-INF, 1.5)
    expected = (t.cdf(2, 5) - t.cdf(-2, 5)) * 0.9331927987311419  # Phi(1.5)
    assert joint_risk([one, other]).conforming == pytest.approx(expected, rel=1e-13)
    with pytest.raises(ValueError, match="degrees of freedom"):
        joint_risk([one, other], [0.5, 0.5])


@given(st.floats(-0.99, 0.99), st.floats(-4, 4), st.floats(-4, 4))
@settings(max_examples=60, deadline=None)
def test_two_correlated_results_are_those_of_the_bivariate_normal(r, a, b):
    results = [Distances(-INF, a), Distances(-INF, b)]
    share = math.sqrt(abs(r))
    found = joint_risk(results, [share, math.copysign(share, r)])
    expected = rectangle(results, [[1, r], [r, 1]])
    assert found.conforming == pytest.approx(float(expected), abs=2e-8)
    assert found.consumer + found.conforming == pytest.approx(1.0, abs=1e-13)


def test_two_dimensions_by_mpmath_to_twelve_digits():
    # P(X < 2, Y < 1.5) at r = 0.6, by quadrature of the conditional probability over X.
    with mpmath.workdps(30):
        r = mpmath.mpf("0.6")
        below = mpmath.quad(
            lambda x: (
                mpmath.npdf(x) * mpmath.ncdf((mpmath.mpf("1.5") - r * x) / mpmath.sqrt(1 - r * r))
            ),
            [-20, -4, 0, 1, 2],
        )
    share = math.sqrt(0.6)
    found = joint_risk([Distances(-INF, 2.0), Distances(-INF, 1.5)], [share, share])
    assert found.conforming == pytest.approx(float(below), rel=1e-12)
    assert found.consumer == pytest.approx(float(1 - below), rel=1e-12)


@pytest.mark.parametrize(
    "shares", [(0.7, 0.7, 0.7, 0.7), (0.9, 0.2, 0.0, 0.5), (0.99, -0.99, 0.3, 0)]
)
def test_four_results_with_a_common_cause_are_those_of_the_multivariate_normal(shares):
    results = [Distances(-2.5, 1.0), Distances(-INF, 2.0), Distances(-1.5, INF), Distances(-3, 0.4)]
    covariance = np.outer(shares, shares)
    np.fill_diagonal(covariance, 1.0)
    expected = float(rectangle(results, covariance))
    assert joint_risk(results, shares).conforming == pytest.approx(expected, abs=3e-6)


def test_wholly_common_results_conform_where_the_narrowest_does():
    # All the same Z: P(max of the lower <= Z <= min of the upper) = Phi(1) - Phi(-0.5).
    results = [Distances(-2.0, 1.0), Distances(-0.5, 3.0)]
    found = joint_risk(results, [1.0, 1.0])
    assert found.conforming == pytest.approx(0.8413447460685429 - 0.3085375387259869, rel=1e-12)
    # Opposite: -Z within (-0.5, 3) is Z within (-3, 0.5).
    found = joint_risk(results, [1.0, -1.0])
    assert found.conforming == pytest.approx(0.6914624612740131 - 0.02275013194817921, rel=1e-12)


def test_without_uncertainty_a_result_is_certain():
    sure, doubtful = Distances(-INF, INF), Distances(-INF, 2.0)
    assert joint_risk([sure, doubtful]).consumer == pytest.approx(0.02275013194817921, rel=1e-13)
    assert joint_risk([Distances(-INF, -INF), doubtful]) == (1.0, 0.0)
    assert joint_risk([sure, doubtful], [0.5, 0.5]).consumer == pytest.approx(
        0.02275013194817921, rel=1e-11
    )


def test_total_global_risk_is_what_the_product_leaves():
    # (0.9 x 0.8) - (0.89 x 0.78), by hand.
    consumer, accepted = total_global_risk([(0.01, 0.9), (0.02, 0.8)])
    assert (consumer, accepted) == (pytest.approx(0.72 - 0.6942, rel=1e-12), pytest.approx(0.72))
    assert total_global_risk([(0.0, 0.0), (0.01, 0.9)]) == (0.0, 0.0)


@pytest.mark.parametrize("shares", [[0.1], [1.1, 0.0]])
def test_loadings_are_one_for_each_result_and_no_more_than_one(shares):
    with pytest.raises(ValueError, match="loading"):
        joint_risk([Distances(-1, 1), Distances(-1, 1)], shares)
