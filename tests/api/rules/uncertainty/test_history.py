"""Shares of the tolerance, changes between calibrations, and when a limit is reached."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from scipy import stats

from api.rules.uncertainty.history import (
    NEVER,
    Event,
    Reading,
    changes,
    days_to_limit,
    share_of_tolerance,
)


def reading(error, lower="-0.1", upper="0.1", point="1"):
    limits = (None if limit is None else Decimal(limit) for limit in (lower, upper))
    return Reading(point, Decimal(error), *limits)


@pytest.mark.parametrize(
    ("given", "share"),
    [
        (reading("0.08"), "0.8"),
        (reading("-0.05", lower="-0.2"), "0.25"),
        (reading("0.1"), "1"),
        (reading("0.15"), "1.5"),
        (reading("-0.05", lower=None), "0"),
        (reading("0.05", upper="0", lower="-1"), "2"),  # beyond a limit of zero counts as twice
        (reading("-0.05", upper="0", lower="-1"), "0.05"),
    ],
)
def test_a_share_is_of_the_limit_on_the_side_of_the_error(given, share):
    assert share_of_tolerance([given]) == Decimal(share)


def test_the_worst_point_counts_and_points_without_limits_do_not():
    free = reading("5", lower=None, upper=None)
    assert share_of_tolerance([reading("0.02"), free, reading("-0.07")]) == Decimal("0.7")
    assert share_of_tolerance([free]) is None


def test_a_change_goes_from_what_was_left_to_what_was_found_next():
    events = [
        Event("A", 0, [], [reading("0.01"), reading("0", point="2")]),
        Event("B", 100, [reading("0.03"), reading("9", point="3")], [reading("0.00")]),
        Event("C", 300, [reading("0.01")], []),
    ]
    assert changes(events) == {"1": [Fraction(2, 10_000), Fraction(1, 20_000)]}


def test_two_calibrations_on_one_day_give_no_rate():
    assert changes([Event("A", 5, [], [reading("0")]), Event("B", 5, [reading("1")], [])]) == {}


def test_a_limit_is_reached_at_the_bound_of_the_rate():
    rates = [Fraction(n, 100_000) for n in (10, 14, 12)]
    # The bound of one more rate: mean + t(0.95, 2) s sqrt(1 + 1/3), from a reference library.
    bound = 12e-5 + stats.t.ppf(0.95, 2) * 2e-5 * (4 / 3) ** 0.5
    assert days_to_limit(reading("0.04"), rates, Decimal("0.95")) == int(0.06 / bound)


def test_a_steady_drift_reaches_the_limit_it_moves_to():
    rates = [Fraction(-1, 10_000)] * 3
    assert days_to_limit(reading("0.05"), rates, Decimal("0.95")) == 1500
    assert days_to_limit(reading("0.05", lower=None), rates, Decimal("0.95")) == NEVER
    assert days_to_limit(reading("0.05", lower=None, upper=None), rates, Decimal("0.95")) is None
    assert days_to_limit(reading("-0.2"), rates, Decimal("0.95")) == 0
