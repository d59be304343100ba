"""Two set-ups compared: tests by scipy.stats, E_n by its formula, the trade's tension link."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from api.rules.decide import decide
from api.rules.exact import FieldError
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN
from api.rules.uncertainty.comparison import Readings, compare, normalized_error


def point(applied, usual, other, **more):
    def by_run(readings):
        return {n: Decimal(text) for n, text in enumerate(readings.split(), 1) if text != "-"}

    return Readings(Decimal(applied), by_run(usual), by_run(other), **more)


def test_the_tension_link_of_the_trade_reads_860_lbf_low_with_the_wrong_pin():
    # Common practice, no source: 50,000 at 50,000 lbf with the right pin, 49,140 with the wrong
    # one: -860 lbf, -1.72 %.
    found = compare([point("50000", "49990 50000 50010", "49128 49145 49147")])
    (one,) = found.points
    assert (one.difference, one.difference_rel) == (-860, Fraction("-0.0172"))
    assert (found.basis, found.significant) == ("runs", True)
    # Rated 0.1 % of full scale: 50 lbf either way, so that pass becomes fail.
    limits = Limits(Decimal(-50), Decimal(50))
    verdicts = [
        decide(Decimal(mean - 50000), Decimal(10), limits, BUILT_IN["simple"]).verdict
        for mean in (int(one.usual_mean), int(one.other_mean))
    ]
    assert verdicts == ["pass", "fail"]


def test_runs_of_both_set_ups_are_paired_and_others_are_not():
    paired = compare([point("10", "10.1 10.3 10.2", "10.0 10.1 10.1")]).points[0].test
    assert paired.method == "paired_t"
    assert float(paired.t) == pytest.approx(
        stats.ttest_rel([10.0, 10.1, 10.1], [10.1, 10.3, 10.2]).statistic, rel=1e-9
    )
    for usual, options in (("10.1 10.3 - 10.2", {}), ("10.1 10.3 10.2", {"pairing": "none"})):
        found = compare([point("10", usual, "10.0 10.1 10.1")], **options).points[0].test
        assert found.method == "welch_t"
        wanted = stats.ttest_ind([10.0, 10.1, 10.1], [10.1, 10.3, 10.2], equal_var=False)
        assert float(found.t) == pytest.approx(wanted.statistic, rel=1e-9)
        assert found.p_value == pytest.approx(wanted.pvalue, rel=1e-9)


RUNS = [  # force, usual and other by run: the other set-up reads 0.2 % and a little more low
    ("10", "10.00 10.02 9.99", "9.97 10.00 9.98"),
    ("20", "20.01 20.03 19.98", "19.96 19.99 19.95"),
    ("50", "50.00 50.06 49.97", "49.87 49.95 49.86"),
]


def shares(column):
    rows = [[float(x) / float(row[0]) for x in row[column].split()] for row in RUNS]
    return np.array(rows)


def test_one_mean_over_the_points_from_each_run_decides():
    found = compare([point(*row) for row in RUNS])
    wanted = stats.ttest_rel(shares(2).mean(axis=0), shares(1).mean(axis=0))
    assert float(found.over_runs.t) == pytest.approx(wanted.statistic, rel=1e-9)
    assert found.over_runs.dof == 2
    assert float(found.mean_rel) == pytest.approx((shares(2) - shares(1)).mean(), rel=1e-9)
    assert (found.basis, found.significant) == ("runs", bool(wanted.pvalue < 0.05))


def test_the_t_over_points_is_that_of_the_relative_differences():
    found = compare([point(*row) for row in RUNS])
    wanted = stats.ttest_1samp((shares(2) - shares(1)).mean(axis=1), 0)
    assert float(found.over_points.t) == pytest.approx(wanted.statistic, rel=1e-9)
    assert found.over_points.p_value == pytest.approx(wanted.pvalue, rel=1e-9)


def test_a_mounting_that_shifts_a_whole_run_is_no_effect_of_the_set_up():
    # Run 1 reads about 0.1 % high and run 2 as much low at every point: nothing but mounting.
    rows = [
        ("10", "10 10", "10.011 9.99"),
        ("20", "20 20", "20.021 19.98"),
        ("50", "50 50", "50.051 49.95"),
    ]
    both = compare([point(*row) for row in rows])
    assert (both.basis, both.significant) == ("runs", False)
    # One run alone cannot tell it from an effect of the set-up, and the answer says on what it
    # stands: the points.
    one = compare([point(force, a.split()[0], b.split()[0]) for force, a, b in rows])
    assert (one.basis, one.significant) == ("points", True)
    assert one.over_runs.t is None


def test_weights_by_force_give_the_slope_through_zero():
    found = compare([point(*row) for row in RUNS], weighting="force_squared")
    forces = np.array([float(row[0]) for row in RUNS])
    means = (shares(2) - shares(1)).mean(axis=1) * forces
    assert float(found.mean_rel) == pytest.approx((forces @ means) / (forces @ forces), rel=1e-9)
    assert float(found.over_runs.mean) == pytest.approx(float(found.mean_rel), rel=1e-9)


def test_where_runs_are_missing_the_points_decide():
    rows = [*RUNS[:2], ("50", "50.00 - 49.97", "49.87 49.95 49.86")]
    found = compare([point(*row) for row in rows])
    assert found.over_runs is None
    assert found.basis == "points"


def test_identical_runs_are_judged_by_the_resolution():
    same = point("50000", "50000 50000", "49140 49140")
    assert compare([same], resolution=Decimal(5)).significant is True
    assert compare([same], resolution=Decimal(860)).significant is False
    alone = compare([same])
    assert (alone.basis, alone.significant) == (None, None)
    # Several points with scatter between them can be tested without it.
    other = point("25000", "25000 25000", "24565 24565")
    assert compare([same, other]).basis == "points"


def test_no_difference_in_any_run_is_not_significant():
    found = compare([point("10", "10 10", "10 10")])
    assert (found.basis, found.significant) == ("runs", False)
    assert found.points[0].test.t is None


def test_a_single_reading_of_each_is_judged_by_E_n():
    U = {"usual_U": Decimal("0.03"), "other_U": Decimal("0.04")}
    # |-0.05| / sqrt(0.03^2 + 0.04^2) = 1, which does not exceed 1; ISO/IEC 17043:2010, B.3.1.3,
    # from memory, verify
    at_one = compare([point("10", "10", "9.95", **U)])
    assert at_one.points[0].normalized_error.value == 1
    assert (at_one.basis, at_one.significant) == ("E_n", False)
    assert compare([point("10", "10", "9.9499", **U)]).significant is True


def test_what_both_uncertainties_hold_of_one_reference_is_taken_out():
    # sqrt(5^2 - 3^2 + 5^2 - 3^2) = sqrt(32)
    found = normalized_error(Fraction(4), Decimal(5), Decimal(5), Decimal(3), Decimal(2))
    assert float(found.value) == pytest.approx(4 / sqrt(32), rel=1e-12)
    # At k = 3 the same U are worth 2/3 of that.
    third = normalized_error(Fraction(4), Decimal(5), Decimal(5), Decimal(3), Decimal(3))
    assert float(third.value) == pytest.approx(6 / sqrt(32), rel=1e-12)
    nothing = normalized_error(Fraction(4), Decimal(5), Decimal(5), Decimal(5), Decimal(2))
    assert (nothing.value, nothing.exceeds) == (None, None)
    assert nothing.reason


@pytest.mark.parametrize(
    ("bad", "field"),
    [
        (point("0", "0", "0"), "/points/1/applied"),
        (point("10", "-", "9"), "/points/1/usual"),
        (point("10", "9", "-"), "/points/1/other"),
        (point("10", "9", "9", other_U=Decimal(1), common_U=Decimal(2)), "/points/1/common_U"),
    ],
)
def test_a_point_that_cannot_be_compared_is_named(bad, field):
    with pytest.raises(FieldError) as refused:
        compare([point("10", "9", "9"), bad])
    assert refused.value.field == field


readings = st.lists(st.decimals(40, 60, places=3), min_size=3, max_size=3)


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(st.decimals(1, 60, places=2), readings, readings), min_size=1, max_size=4)
)
def test_exchanging_the_set_ups_only_changes_the_sign(rows):
    def made(swapped):
        points = []
        for applied, usual, other in rows:
            first, second = (other, usual) if swapped else (usual, other)
            points.append(Readings(applied, dict(enumerate(first)), dict(enumerate(second))))
        return compare(points, resolution=Decimal("0.001"))

    there, back = made(False), made(True)
    assert there.mean_rel == -back.mean_rel
    assert (there.basis, there.significant) == (back.basis, back.significant)
    assert there.over_runs.standard_uncertainty == back.over_runs.standard_uncertainty
    assert there.half_range_rel == back.half_range_rel
