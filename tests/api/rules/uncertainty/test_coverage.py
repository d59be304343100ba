"""Coverage factors against scipy.stats, a Monte Carlo and the examples of EA-4/02.

EA-4/02 M:2022 is quoted from memory.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from api.rules.exact import FieldError
from api.rules.uncertainty.budget import Component, combine
from api.rules.uncertainty.correlation import correlations
from api.rules.uncertainty.coverage import (
    dominant,
    dominated_factor,
    half_interval,
    named_trapezoid,
    probability,
    student_factor,
)
from api.rules.uncertainty.distributions import standard


def part(name, distribution, **figures):
    return Component(name, standard(distribution, {k: Decimal(v) for k, v in figures.items()}))


def by_density(percent, parts, names=None, pairs=()):
    together = correlations([one.name for one in parts], pairs)
    combined = combine(parts, together)
    if names is None:
        trapezoid = dominant(parts, together)
        assert trapezoid is not None
    else:
        trapezoid = named_trapezoid(parts, together, names, "/coverage")
    rest = [one for one in parts if one.name not in trapezoid.names]
    return combined, dominated_factor(Decimal(percent), trapezoid, combined, rest)


# EA-4/02 S9: a voltmeter at 100 V; the step of its display outweighs the rest (V).
VOLTMETER = [
    part("standard", "normal", U="0.002", k="2"),
    part("standard, other effects", "rectangular", half_width="0.011"),
    part("resolution", "rectangular", half_width="0.05"),
]
# EA-4/02 S10: a caliper at 150 mm; resolution and mechanical effects make a trapezoid (um).
CALIPER = [
    part("gauge block", "rectangular", half_width="0.8"),
    part("temperature", "rectangular", half_width="1.7"),
    part("resolution", "rectangular", half_width="25"),
    part("mechanical effects", "rectangular", half_width="50"),
]


@pytest.mark.parametrize("percent", ["50", "90", "95", "99", "99.9"])
@pytest.mark.parametrize("dof", [1, 2, 3, 9, 16, 100, 5000])
def test_k_is_the_quantile_of_student(percent, dof):
    upper = (1 + float(percent) / 100) / 2
    found = float(student_factor(Decimal(percent), dof))
    assert found == pytest.approx(stats.t.ppf(upper, dof), rel=1e-9)


def test_k_is_exactly_two_at_the_usual_probability():
    assert student_factor(Decimal("95.45"), None) == 2
    assert student_factor(Decimal("95.450"), None) == 2
    assert student_factor(Decimal("99.73"), None) == 3
    assert float(student_factor(Decimal(95), None)) == pytest.approx(stats.norm.ppf(0.975))


@pytest.mark.parametrize(("dof", "k"), [(1, "13.97"), (5, "2.65"), (10, "2.28"), (50, "2.05")])
def test_k_agrees_with_the_table_at_the_usual_probability(dof, k):
    # JCGM 100:2008, table G.2, and EA-4/02, table E.1 (from memory).
    assert round(student_factor(Decimal("95.45"), dof), 2) == Decimal(k)


def test_a_dominant_rectangle_alone_has_the_published_factor():
    # EA-4/02 S9.14: k = 0.95 sqrt 3 = 1.65.
    combined, found = by_density("95", [VOLTMETER[2]])
    assert round(found.k, 2) == Decimal("1.65")
    assert float(found.k) == pytest.approx(0.95 * sqrt(3), abs=1e-12)
    assert float(found.k * combined.u) == pytest.approx(0.0475)


def test_the_voltmeter_is_dominated_by_its_resolution():
    # Published: u = 0.030 V, k = 1.65, U = 0.05 V; with the rest convolved k is a little larger.
    combined, found = by_density("95", VOLTMETER)
    # The second rectangle goes into a trapezoid with the first, so that less is taken as normal.
    assert found.trapezoid.names == ("resolution", "standard, other effects")
    assert round(combined.u, 3) == Decimal("0.030")
    assert Decimal("1.65") < found.k < Decimal("1.72")
    assert round(found.k * combined.u, 2) == Decimal("0.05")
    assert found.rest_ratio < Decimal("0.3")


def test_the_caliper_is_dominated_by_a_trapezoid_of_two():
    # Published: beta = 0.33, u = 0.033 mm, k = 1.83, U = 0.06 mm.
    combined, found = by_density("95", CALIPER)
    assert set(found.trapezoid.names) == {"resolution", "mechanical effects"}
    assert (found.trapezoid.half_width, found.trapezoid.beta) == (75, Fraction(1, 3))
    assert float(combined.u) == pytest.approx(32.3, abs=0.05)
    assert round(found.k, 2) == Decimal("1.83")
    assert round(found.k * combined.u / 1000, 2) == Decimal("0.06")


@pytest.mark.parametrize(("beta", "sigma", "dof"), [(1, 0.2, None), (0.4, 0.5, None), (1, 0.3, 5)])
def test_the_interval_of_a_convolution_agrees_with_monte_carlo(beta, sigma, dof):
    draws = np.random.default_rng(11)
    n = 2 * 10**6
    wide, narrow = (1 + beta) / 2, (1 - beta) / 2  # a trapezoid is two rectangles added
    x = draws.uniform(-wide, wide, n) + draws.uniform(-narrow, narrow, n)
    rest = draws.normal(0, 1, n) if dof is None else draws.standard_t(dof, n)
    simulated = np.quantile(np.abs(x + sigma * rest), 0.95)
    assert half_interval(0.95, beta, sigma, dof) == pytest.approx(simulated, rel=0.004)


@given(st.floats(0.5, 0.999), st.floats(0, 1))
def test_a_small_rest_leads_to_the_trapezoid_alone(p, beta):
    assert half_interval(p, beta, 1e-7) == pytest.approx(half_interval(p, beta, 0.0), abs=1e-6)


@given(st.floats(0.5, 0.999), st.floats(0, 1), st.sampled_from([None, 3.0, 30.0]))
def test_a_large_rest_leads_to_its_own_interval(p, beta, dof):
    upper = (1 + p) / 2
    alone = stats.norm.ppf(upper) if dof is None else stats.t.ppf(upper, dof)
    assert half_interval(p, beta, 1e4, dof) == pytest.approx(1e4 * alone, rel=1e-6)


@given(st.floats(0.5, 0.99), st.floats(0, 1), st.floats(0.001, 5))
def test_the_interval_grows_with_the_probability(p, beta, sigma):
    assert half_interval(p, beta, sigma) < half_interval(p + 0.005, beta, sigma)


def test_nothing_dominates_where_the_rest_is_as_large():
    parts = [part("a", "rectangular", half_width="1"), part("b", "normal", u="0.5")]
    assert dominant(parts, correlations(["a", "b"], [])) is None
    # Named, it is convolved all the same: the density is right whatever dominates.
    _, found = by_density("95", parts, names=["a"])
    assert Decimal("1.8") < found.k < Decimal("2")


def test_a_correlated_component_is_never_taken_by_its_density():
    parts = [part("a", "rectangular", half_width="9"), part("b", "normal", u="0.5")]
    pairs = [(("a", "b"), Decimal("0.5"))]
    assert dominant(parts, correlations(["a", "b"], pairs)) is None
    with pytest.raises(FieldError, match="correlated"):
        by_density("95", parts, names=["a"], pairs=pairs)


@pytest.mark.parametrize(
    ("names", "message"),
    [
        (["x"], "no component is named x"),
        (["normal"], "no rectangle"),
        (["flat", "triangle"], "two rectangles"),
    ],
)
def test_a_trapezoid_that_cannot_be_made_is_refused(names, message):
    parts = [
        part("normal", "normal", u="1"),
        part("flat", "rectangular", half_width="1"),
        part("triangle", "triangular", half_width="1"),
    ]
    with pytest.raises(FieldError, match=message):
        by_density("95", parts, names=names)


def test_a_single_trapezoid_or_triangle_may_dominate():
    _, found = by_density("95", [part("t", "trapezoidal", half_width="75", beta="0.33")])
    assert float(found.k) == pytest.approx(1.83, abs=0.006)
    _, found = by_density("95", [part("t", "triangular", half_width="1")])
    assert float(found.k) == pytest.approx((1 - sqrt(0.05)) * sqrt(6))


def test_named_probabilities_are_those_of_the_normal_distribution():
    assert probability(Decimal("68.27")) == pytest.approx(stats.norm.cdf(1) - stats.norm.cdf(-1))
    assert probability(Decimal("99.73")) == pytest.approx(stats.norm.cdf(3) - stats.norm.cdf(-3))


def test_two_rectangles_of_which_one_outweighs_the_rest_are_taken_together():
    # Half-widths 0.05 and 0.011 (0.22 as wide): by hand 95 % of the trapezoid of base 0.061 and top
    # 0.039 lie within 0.061 - sqrt(0.05 x 2 x 0.05 x 0.022) = 0.05051; one rectangle with a normal
    # rest would give 0.05013.
    parts = [
        Component("wide", standard("rectangular", {"half_width": Decimal("0.05")})),
        Component("narrow", standard("rectangular", {"half_width": Decimal("0.011")})),
    ]
    none = correlations([one.name for one in parts], [])
    found = dominant(parts, none)
    assert found.names == ("wide", "narrow")
    combined = combine(parts, none)
    factor = dominated_factor(Decimal(95), found, combined, [])
    assert float(factor.k * combined.u) == pytest.approx(0.05051, abs=5e-6)
