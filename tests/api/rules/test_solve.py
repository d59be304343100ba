"""A solved guard band gives back its target risk, in every regime."""

from math import inf, nan, sqrt

import mpmath
import numpy as np
import pytest

from api.rules.risk import global_risk, specific_risk
from api.rules.solve import (
    band_for_global_risk,
    band_for_specific_risk,
    prior_from_reliability,
)

TARGETS = [1e-9, 1e-4, 0.02, 0.025, 0.05, 0.3, 0.6]


@pytest.mark.parametrize("target", TARGETS)
@pytest.mark.parametrize("dof", [None, 4.0])
def test_the_risk_of_a_result_on_the_acceptance_limit_is_the_target(target, dof):
    widths = np.array([1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 40.0, 1e6, inf])
    band = band_for_specific_risk(target, widths, dof)
    solved = ~np.isnan(band)
    assert solved[-2:].all()
    risk = specific_risk(0.0, 1.0, band - widths, band, dof)
    assert risk[solved] == pytest.approx(np.full(solved.sum(), target), rel=1e-10)
    # Where nothing is accepted even the middle is too risky.
    middle = specific_risk(0.0, 1.0, -widths / 2, widths / 2, dof)
    assert (middle[~solved] > target).all()
    assert (band[solved] <= widths[solved] / 2).all()


def test_rows_with_and_without_degrees_of_freedom_may_be_mixed():
    mixed = band_for_specific_risk(0.05, np.array([inf, inf]), np.array([nan, 5.0]))
    assert mixed[0] == band_for_specific_risk(0.05, inf)
    assert mixed[1] == band_for_specific_risk(0.05, inf, 5.0)


def test_close_limits_need_more_than_the_quantile_of_one():
    one = float(band_for_specific_risk(0.05, inf))
    close = float(band_for_specific_risk(0.05, 4.0))
    assert one < close <= 2.0
    assert float(band_for_specific_risk(0.05, 30.0)) == one


@pytest.mark.parametrize("target", [1e-6, 0.002, 0.02])
@pytest.mark.parametrize("limits", [(-2.0, 2.0), (-1.0, 3.0), (-inf, 1.0), (-2.5, inf), (0.5, 2.0)])
@pytest.mark.parametrize("u", [0.05, 0.5, 2.0])
def test_the_global_risk_behind_a_solved_band_is_the_target_or_less(target, limits, u):
    lower, upper = limits
    band = float(band_for_global_risk(target, lower, upper, u))
    risk = float(global_risk(lower, upper, lower + band, upper - band, 0.0, 1.0, u).consumer)
    assert band >= 0.0
    assert risk == pytest.approx(target, abs=1e-13) if band else risk <= target


def test_the_band_for_a_global_risk_is_solved_row_by_row():
    u = np.array([0.1, 0.3, 0.9])
    column = band_for_global_risk(0.001, -2.0, 2.0, u)
    assert column.tolist() == [float(band_for_global_risk(0.001, -2.0, 2.0, x)) for x in u]


@pytest.mark.parametrize(
    ("lower", "upper", "mean", "sd"),
    [
        (-1.0, 1.0, 0.0, 0.5),
        (-1.0, 1.0, 0.6, 0.5),
        (-inf, 10.0, 9.0, 0.7),
        (2.0, inf, 9.0, 3.0),
        (-1e6, 1.0, 0.9, 2.0),
    ],
)
def test_the_spread_behind_an_observed_reliability_is_found_again(lower, upper, mean, sd):
    u = 0.3
    # What is observed scatters with the items and with the measurement.
    observed = 1.0 - float(specific_risk(mean, sqrt(sd**2 + u**2), lower, upper))
    found = prior_from_reliability(observed, lower, upper, u, mean=mean)
    assert found == pytest.approx((mean, sd), rel=1e-9)


def test_the_middle_of_two_limits_is_the_default_mean():
    mean, sd = prior_from_reliability(0.95, 9.0, 11.0, 0.0)
    # z for 95 % two-sided from tables: 1.95996
    assert (mean, sd) == pytest.approx((10.0, 1 / 1.959963985), rel=1e-9)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((1.0, -1.0, 1.0, 0.1), "between 0 and 1"),
        ((0.0, -1.0, 1.0, 0.1), "between 0 and 1"),
        ((0.95, -1.0, 1.0, 0.8), "measurement alone scatters more"),
        ((0.95, -inf, 1.0, 0.1), "needs the mean"),
        ((0.95, -1.0, 1.0, 0.1, 1.0), "inside the limits"),
        ((0.4, -inf, 1.0, 0.1, 0.0), "above one half"),
    ],
)
def test_a_reliability_that_no_spread_explains_is_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        prior_from_reliability(*arguments)


def lost_digits(sd, rate, near, far):
    """How far, relative to sd, the spread is from the root of its own equation (mpmath, 40 digits).

    Newton's step at sd: the share outside less the wanted one, over its derivative by log sd.
    """
    with mpmath.workdps(40):
        wanted = 1 - mpmath.mpf(rate)
        distances = [mpmath.mpf(d) / mpmath.mpf(sd) for d in (near, far) if d != inf]
        outside = sum(mpmath.erfc(z / mpmath.sqrt(2)) / 2 for z in distances)
        slope = sum(z * mpmath.npdf(z) for z in distances)
        return abs(outside - wanted) / slope


# Fifty thousand were tried once.
RATES = 2_500


def test_observed_rates_come_out_again():
    # One limit, two, and a second one so far away that its tail is lost in rounding.
    drawn = np.random.default_rng(20_261_130)
    outside = 10.0 ** drawn.uniform(-6.0, np.log10(0.49), RATES)
    far = np.where(drawn.random(RATES) < 0.3, inf, 10.0 ** drawn.uniform(0.0, 2.0, RATES))
    low_rate = np.isfinite(far) & (drawn.random(RATES) < 0.1)
    rates = np.where(low_rate, outside, 1.0 - outside)
    worst = 0.0
    for rate, second in zip(rates.tolist(), far.tolist(), strict=True):
        _, sd = prior_from_reliability(rate, -1.0, second, 0.0, 0.0)
        worst = max(worst, lost_digits(sd, rate, 1.0, second))
    assert worst < 1e-13


@pytest.mark.parametrize(
    ("rate", "lower", "upper", "mean", "u", "sd"),
    [
        # One limit, z(0.98) = 2.05374891 (tables): sqrt((1/2.05374891)^2 - 0.1^2)
        (0.98, -inf, 1.0, 0.0, 0.1, 0.476535),
        # z(0.85) = 1.03643339 (tables): 1/1.03643339
        (0.85, -inf, 1.0, 0.0, 0.0, 0.964847),
        # z(0.984) = 2.14441062 (tables), the far tail at 8.6 sd is below 1e-17
        (0.984, -1.0, 4.0, 0.0, 0.05, 0.463640),
    ],
)
def test_a_limit_whose_tail_is_all_there_is_gives_the_spread_of_the_tables(
    rate, lower, upper, mean, u, sd
):
    assert prior_from_reliability(rate, lower, upper, u, mean)[1] == pytest.approx(sd, abs=2e-6)
