"""Risks against an independent quadrature, and at every corner where a formula divides by zero."""

from itertools import pairwise, product
from math import erfc, exp, fsum, inf, isfinite, nan, pi, sqrt

import mpmath as mp
import numpy as np
import pytest

from api.rules.risk import (
    both_probabilities,
    conformance_probability,
    global_risk,
    posterior,
    specific_risk,
)

# Gauss-Legendre of 64 nodes (Abramowitz & Stegun, 25.4.29): exact to the last digits of a double
# where the integrand is smooth, as it is between the marks.
NODES, WEIGHTS = np.polynomial.legendre.leggauss(64)


def quadrature(lower, upper, low, high, mean, sd, u):
    """Return (consumer, producer) by integrating over the true value, with erfc of the C library.

    Independent of Owen's T: the prior density times the probability of acceptance, split at the
    limits and where the integrand turns.
    """

    def below(z):
        return 0.5 * erfc(-z / sqrt(2))

    def accepted(x):
        return below((high - x) / u) - below((low - x) / u)

    def density(x):
        return exp(-0.5 * ((x - mean) / sd) ** 2) / (sd * sqrt(2 * pi))

    def integral(start, end, chance):
        start, end = max(start, mean - 12 * sd), min(end, mean + 12 * sd)
        if start >= end:
            return 0.0
        marks = [edge + i * u for edge in (low, high) if isfinite(edge) for i in range(-8, 9, 2)]
        marks += [mean + i * sd for i in range(-9, 10, 3)]
        ends = [start, *sorted(mark for mark in marks if start < mark < end), end]
        pieces = (
            0.5 * (b - a) * weight * density(x) * chance(x)
            for a, b in pairwise(ends)
            for node, weight in zip(NODES, WEIGHTS, strict=True)
            for x in [0.5 * (a + b) + 0.5 * (b - a) * float(node)]
        )
        return fsum(pieces)

    consumer = integral(-inf, lower, accepted) + integral(upper, inf, accepted)
    producer = integral(lower, upper, lambda x: 1 - accepted(x))
    return consumer, producer


# (lower, upper, prior mean, prior sd): centred, biased, asymmetric about 0, one-sided.
LIMITS = [
    (-1.0, 1.0, 0.0, 0.51),
    (-1.0, 1.0, 0.7, 0.3),
    (-0.2, 1.8, 0.0, 0.5),
    (-inf, 1.0, 0.3, 0.4),
    (-1.0, inf, -1.2, 0.4),
]


@pytest.mark.parametrize("tur", [0.5, 1.0, 2.0, 4.0, 10.0, 20.0])
@pytest.mark.parametrize("limits", LIMITS, ids=str)
@pytest.mark.parametrize("r", [0.0, 0.83, -0.5])
def test_global_risks_agree_with_quadrature_to_1e_12(limits, tur, r):
    lower, upper, mean, sd = limits
    U = 1.0 / tur
    low, high = lower + r * U, upper - r * U
    found = global_risk(lower, upper, low, high, mean, sd, U / 2)
    if low > high:
        assert found.consumer == found.accepted == 0.0
        return
    consumer, producer = quadrature(lower, upper, low, high, mean, sd, U / 2)
    assert float(found.consumer) == pytest.approx(consumer, abs=1e-12, rel=0)
    assert float(found.producer) == pytest.approx(producer, abs=1e-12, rel=0)


@pytest.mark.parametrize("u", [1e-8, 1e-5, 1e3, 1e8])
def test_global_risks_hold_for_extreme_ratios_of_the_two_spreads(u):
    found = global_risk(-1.0, 1.0, -0.9, 1.1, 0.3, 0.5, u)
    consumer, producer = quadrature(-1.0, 1.0, -0.9, 1.1, 0.3, 0.5, u)
    assert float(found.consumer) == pytest.approx(consumer, abs=1e-12, rel=0)
    assert float(found.producer) == pytest.approx(producer, abs=1e-12, rel=0)


def test_limits_at_the_prior_mean_in_every_combination_are_continuous():
    # h = 0, k = 0 or both: the naive formula divides by zero in each.
    for lower, low in product((-1.0, 0.0), repeat=2):
        exact = global_risk(lower, 2.0, low, 2.0, 0.0, 1.0, 0.3)
        near = global_risk(lower, 2.0, low, 2.0, 1e-13, 1.0, 0.3)
        for one, other in zip(exact, near, strict=True):
            assert float(one) == pytest.approx(float(other), abs=1e-11)
    for upper, high in product((1.0, 0.0), repeat=2):
        exact = global_risk(-2.0, upper, -2.0, high, 0.0, 1.0, 0.3)
        near = global_risk(-2.0, upper, -2.0, high, -1e-13, 1.0, 0.3)
        assert float(exact.consumer) == pytest.approx(float(near.consumer), abs=1e-11)


def test_a_prior_without_spread_is_one_known_item():
    inside = global_risk(-1.0, 1.0, -0.5, 0.5, 0.2, 0.0, 0.3)
    assert inside.consumer == 0.0
    assert float(inside.accepted) == pytest.approx(
        float(conformance_probability(0.2, 0.3, -0.5, 0.5)), abs=1e-15
    )
    outside = global_risk(-1.0, 1.0, -0.5, 0.5, 1.2, 0.0, 0.3)
    assert outside.producer == 0.0
    assert outside.consumer == outside.accepted > 0.0
    nearly = global_risk(-1.0, 1.0, -0.5, 0.5, 0.2, 1e-9, 0.3)
    assert float(nearly.accepted) == pytest.approx(float(inside.accepted), abs=1e-8)


def test_a_measurement_without_error_leaves_only_the_guard_band():
    guarded = global_risk(-1.0, 1.0, -0.5, 0.5, 0.0, 1.0, 0.0)
    assert guarded.consumer == 0.0
    # P(0.5 < |Z| < 1) from tables, from memory
    assert float(guarded.producer) == pytest.approx(0.6826894921 - 0.3829249225, abs=1e-9)
    relaxed = global_risk(-1.0, 1.0, -2.0, 2.0, 0.0, 1.0, 0.0)
    assert float(relaxed.consumer) == pytest.approx(0.9544997361 - 0.6826894921, abs=1e-9)
    both = global_risk(-1.0, 1.0, -1.0, 1.0, 1.0, 0.0, 0.0)
    assert (both.consumer, both.producer, both.accepted) == (0.0, 0.0, 1.0)


def test_an_empty_acceptance_accepts_nothing():
    found = global_risk(-1.0, 1.0, 0.2, -0.2, 0.0, 0.5, 0.6)
    assert (found.consumer, found.accepted) == (0.0, 0.0)
    assert np.isnan(found.consumer_given_accepted)
    assert float(found.producer) == pytest.approx(0.9544997361036416, abs=1e-15)


def test_an_absent_limit_may_be_infinite_or_nan():
    infinite = global_risk(-inf, 1.0, -inf, 0.9, 0.0, 1.0, 0.1)
    absent = global_risk(nan, 1.0, nan, 0.9, 0.0, 1.0, 0.1)
    assert infinite == absent
    assert specific_risk(0.0, 1.0, nan, 2.0) == specific_risk(0.0, 1.0, -inf, 2.0)
    assert specific_risk(0.0, 1.0, nan, 2.0, 5.0) == specific_risk(0.0, 1.0, -inf, 2.0, 5.0)
    assert specific_risk(0.0, 1.0, -inf, inf) == 0.0


def test_all_risks_stay_between_0_and_1_over_a_wild_grid():
    axes = np.meshgrid([-2.0, 0.0, 1e6], [0.0, 1e-300, 0.3, 1e200], [0.0, 1e-300, 0.3, 1e200])
    mean, sd, u = (axis.ravel() for axis in axes)
    with np.errstate(all="raise", under="ignore"):
        for lower, low in ((-1.0, -0.9), (-inf, -inf), (0.0, 0.0)):
            found = global_risk(lower, 1.0, low, 0.9, mean, sd, u)
            for risk in (found.consumer, found.producer, found.accepted):
                assert ((risk >= 0.0) & (risk <= 1.0)).all()


def test_an_array_gives_what_each_of_its_rows_gives_alone():
    u = np.array([0.0, 0.1, 0.5])
    column = global_risk(-1.0, 1.0, -0.9, 0.9, 0.1, 0.4, u)
    for i, alone in enumerate(global_risk(-1.0, 1.0, -0.9, 0.9, 0.1, 0.4, x) for x in u):
        assert [float(c[i]) for c in column] == [float(a) for a in alone]


def test_tails_keep_their_relative_accuracy_far_inside_and_far_outside():
    with mp.workdps(40):
        deep = float(2 * mp.ncdf(-20))
        # The probability of an interval ten sigma away is a difference of two tails.
        away = float(mp.ncdf(-10) - mp.ncdf(-11))
    assert float(specific_risk(0.0, 0.05, -1.0, 1.0)) == pytest.approx(deep, rel=1e-12)
    assert float(conformance_probability(12.0, 1.0, 1.0, 2.0)) == pytest.approx(away, rel=1e-12)
    assert float(conformance_probability(-12.0, 1.0, -2.0, -1.0)) == pytest.approx(away, rel=1e-12)


def test_the_farther_tail_counts_wherever_it_is_visible():
    for y in np.linspace(-3.0, 3.0, 121):
        with mp.workdps(30):
            expected = float(mp.ncdf(-1 - y) + mp.ncdf(y - 1))
        assert float(specific_risk(y, 1.0, -1.0, 1.0)) == pytest.approx(expected, rel=4e-15)


def test_degrees_of_freedom_fall_back_to_normal_where_they_are_absent():
    risk, conforms = both_probabilities(9.6, 0.2, -inf, 10.0, [5.0, nan, inf])
    # t(2; 5) from memory of tables: 0.9490; the normal 0.97725
    assert conforms.round(4).tolist() == [0.949, 0.9772, 0.9772]
    assert (risk + conforms).tolist() == [1.0, 1.0, 1.0]


def test_a_value_on_a_limit_is_inside_when_there_is_no_uncertainty():
    values = np.array([0.9, 1.0, 1.1, -1.0, -1.1])
    assert specific_risk(values, 0.0, -1.0, 1.0).tolist() == [0.0, 0.0, 1.0, 0.0, 1.0]
    assert specific_risk(1.0, 0.0, 1.0, 1.0) == 0.0


def test_the_posterior_weights_by_inverse_variance():
    found = posterior(0.0, 3.0, 1.0, 1.0, -1.0, 1.0)
    assert float(found.mean) == pytest.approx(0.9)
    assert float(found.sd) == pytest.approx(0.9**0.5)
    assert float(found.risk) == pytest.approx(float(specific_risk(0.9, 0.9**0.5, -1.0, 1.0)))


@pytest.mark.parametrize(
    ("sd", "u", "mean", "spread"),
    [(0.0, 1.0, 0.0, 0.0), (1.0, 0.0, 2.0, 0.0), (0.0, 0.0, 2.0, 0.0), (1e200, 1e200, 1.0, None)],
)
def test_the_posterior_has_its_limits_where_a_spread_vanishes(sd, u, mean, spread):
    found = posterior(0.0, sd, 2.0, u, -1.0, 1.0)
    assert float(found.mean) == pytest.approx(mean)
    assert spread is None or float(found.sd) == spread
    assert 0.0 <= float(found.risk) <= 1.0
