"""Interval advice: its methods, its reasons, and that it never grows on too little history."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.rules.uncertainty.history import Event, Reading
from api.rules.uncertainty.intervals import (
    METHODS,
    PRACTICE,
    PUBLISHED,
    Policy,
    Use,
    advise,
    step_down,
)

STAIRCASE = Policy(present_days=400, reliability=Decimal("0.9"))


def events(*errors, applications=None):
    """One calibration a year; |error| may be 0.1."""
    made = []
    for number, error in enumerate(errors):
        found = [Reading("1", Decimal(error), Decimal("-0.1"), Decimal("0.1"))]
        made.append(Event(f"C-{number}", 365 * number, found, found, applications))
    return made


def days(*errors, policy=STAIRCASE, use=None, **more):
    return advise(events(*errors, **more), use or Use(), policy).days


def test_the_step_down_balances_the_step_up_at_the_target_reliability():
    # (1 + a)^R (1 - b)^(1 - R) = 1; a 0.1, R 0.9: b = 1 - 1.1^-9 = 0.57590 (simple response
    # method, from memory; the arithmetic is checked here)
    down = step_down(Decimal("0.9"), Decimal("0.1"))
    assert float(down) == pytest.approx(1 - 1.1**-9, rel=1e-14)
    assert 1.1**0.9 * float(1 - down) ** 0.1 == pytest.approx(1)


@pytest.mark.parametrize(
    ("last", "wanted"),
    [
        ("0.05", 440),  # within 80 % of the tolerance: a tenth longer
        ("-0.08", 440),  # at the share itself
        ("0.09", 400),  # inside, but near the limit: kept
        ("0.1", 400),  # a limit is inside
        ("0.11", 169),  # outside: 400 x 1.1^-9 = 169.6
    ],
)
def test_the_staircase_goes_by_the_last_result(last, wanted):
    assert days("0", "0.01", last) == wanted


def test_too_little_history_is_said_and_never_lengthens():
    for known in (("0",), ("0", "0.01")):
        found = advise(events(*known), Use(), STAIRCASE)
        assert (found.days, found.too_little_history) == (400, True)
    assert not advise(events("0", "0.01", "0.01"), Use(), STAIRCASE).too_little_history


@pytest.mark.parametrize("method", METHODS)
def test_one_result_outside_shortens_without_further_history(method):
    policy = Policy(method, 400, Decimal("0.9"))
    found = advise(events("0", "0.2"), Use(), policy)
    assert (found.days, found.too_little_history) == (169, True)


@pytest.mark.parametrize("method", METHODS)
def test_without_history_or_present_interval_there_is_no_number(method):
    assert advise([], Use(), Policy(method, 400)).days == 400
    found = advise(events("0", "0", "0"), Use(), Policy(method))
    assert (found.days, found.too_little_history) == (None, True)
    assert "no present interval" in found.steps[0].reason


def test_a_step_down_may_be_asked_for():
    policy = Policy(present_days=400, down=Decimal("0.25"))
    assert days("0", "0", "0.2", policy=policy) == 300


def test_drift_ends_where_the_error_reaches_the_limit():
    policy = Policy("drift", 365)
    # 0.02 a year without scatter: from 0.04 to 0.1 it takes three years, but the advice does not
    # go beyond twice the present interval.
    assert days("0", "0.02", "0.04", policy=policy) == 730
    # From 0.08 it takes one year: 0.02 / (0.04/730) days
    assert days("0", "0.04", "0.08", policy=policy) == 182


def test_drift_needs_two_changes():
    found = advise(events("0", "0.02"), Use(), Policy("drift", 365))
    assert (found.days, found.too_little_history) == (365, True)


def test_in_use_counts_load_applications_at_the_present_rate():
    use = Use(applications_per_year=Decimal(600))
    policy = Policy("in_use", 365)
    # 300 applications in the last interval x 1.1 = 330, at 600 a year
    assert days("0", "0", "0.05", policy=policy, use=use, applications=300) == 200
    found = advise(events("0", "0.05", applications=300), use, policy)
    assert (found.days, found.too_little_history) == (182, True)


def test_a_quiet_year_does_not_lengthen_on_too_little_history():
    use = Use(applications_per_year=Decimal(10))
    found = advise(events("0", "0.05", applications=300), use, Policy("in_use", 365))
    assert found.days == 365


def test_in_use_goes_to_twice_the_present_interval_at_most():
    use = Use(applications_per_year=Decimal(1))
    found = advise(events("0", "0", "0", applications=10**12), use, Policy("in_use", 365))
    assert found.days == 730


@pytest.mark.parametrize(
    ("wear", "wanted"), [("4.9", 440), ("5", 330), ("8", 220), ("10", None), ("12", None)]
)
def test_a_worn_item_comes_back_sooner(wear, wanted):
    use = Use(wear_pct=Decimal(wear), limit_pct=Decimal(10))
    assert days("0", "0", "0", use=use) == wanted


@pytest.mark.parametrize(("rate", "wanted"), [("99", 440), ("100", 330), ("200", 220)])
def test_a_heavily_used_item_comes_back_sooner(rate, wanted):
    use = Use(applications_per_year=Decimal(rate), design_life=1000)
    assert days("0", "0", "0", use=use) == wanted


def test_the_interval_does_not_outlast_the_design_life():
    use = Use(applications_per_year=Decimal(50), design_life=1000, applications_so_far=975)
    assert days("0", "0", "0", use=use) == 182  # 25 left at 50 a year
    over = Use(applications_per_year=Decimal(50), design_life=1000, applications_so_far=1000)
    assert days("0", "0", "0", use=over) is None


def test_a_life_used_up_is_seen_without_present_use():
    use = Use(design_life=1000, applications_so_far=1000)
    assert days("0", "0", "0", use=use) is None


def test_the_laboratorys_bounds_come_last():
    policy = Policy(present_days=400, least_days=180, most_days=420)
    assert days("0", "0", "0", policy=policy) == 420
    assert days("0", "0", "0.2", policy=policy) == 180
    worn = Use(wear_pct=Decimal(10), limit_pct=Decimal(10))
    assert days("0", "0", "0", policy=policy, use=worn) is None


def test_every_step_says_why_and_where_it_comes_from():
    found = advise(events("0", "0", "0.2"), Use(Decimal(6), Decimal(10)), STAIRCASE)
    assert [one.step for one in found.steps] == ["present interval", "staircase", "wear", "use"]
    assert {one.source for one in found.steps} == {PUBLISHED, PRACTICE}
    assert "C-2: as found at 200 % of the tolerance" in found.steps[1].reason
    assert found.steps[-1].days == found.days
