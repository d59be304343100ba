"""Densities that are not normal, against closed forms, SciPy and mpmath's convolution."""

import math
from decimal import Decimal
from fractions import Fraction

import mpmath
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate
from scipy.stats import norm, t, trapezoid, uniform

from api.rules.acceptance import Prior, acceptance
from api.rules.at_95 import uncertainty_ratio
from api.rules.branches import choose
from api.rules.decide import decide
from api.rules.density import Density
from api.rules.exact import FieldError
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule, rule_from_mapping

D = Decimal
INF = math.inf


def shape(beta, rest=0, dof=None):
    return Density(D(str(beta)), D(str(rest)), None if dof is None else D(dof))


@given(st.floats(0, 1), st.floats(-3, 3))
def test_a_trapezoid_alone_is_scipys(beta, z):
    half = math.sqrt(6 / (1 + beta * beta))  # u = half sqrt((1 + beta^2)/6) = 1
    edge = (1 - beta) / 2
    expected = trapezoid.cdf(z, edge, 1 - edge, loc=-half, scale=2 * half)
    found = shape(f"{beta:.17f}").tail(z)
    assert found == pytest.approx(float(expected), abs=1e-9)


def test_a_rectangle_alone_is_uniform():
    half = math.sqrt(3)
    for below, above in ((-1.5, 0.5), (-0.2, 3), (0.4, 1.0), (-9, 9)):
        inside = uniform.cdf([above, below], loc=-half, scale=2 * half)
        risk, conforms = Density().probabilities(below, above)
        assert conforms == pytest.approx(float(inside[0] - inside[1]), rel=1e-14)
        assert risk + conforms == pytest.approx(1, rel=1e-15)


@pytest.mark.parametrize(
    ("rest", "z"), [("0.3", "-1.9"), ("0.05", "-1.7"), ("1", "-3"), ("0.3", "-5")]
)
def test_a_rectangle_with_a_normal_rest_is_the_convolution_by_mpmath(rest, z):
    # Uniform on [-a, a] plus N(0, s): P(below z) = mean of Phi((z - x)/s), which has a closed form
    # by parts: F(y) = y Phi(y) + phi(y), P = s/(2a) (F((z + a)/s) - F((z - a)/s)).
    with mpmath.workdps(40):
        ratio = mpmath.mpf(rest)
        u_rect = 1 / mpmath.sqrt(1 + ratio**2)
        a, s = mpmath.sqrt(3) * u_rect, ratio * u_rect
        part = lambda y: y * mpmath.ncdf(y) + mpmath.npdf(y)  # noqa: E731
        exact = s / (2 * a) * (part((mpmath.mpf(z) + a) / s) - part((mpmath.mpf(z) - a) / s))
    assert shape(1, rest).tail(float(z)) == pytest.approx(float(exact), rel=1e-11)


@settings(deadline=None, max_examples=20)
@given(st.floats(0, 1), st.floats(0.05, 1.5), st.floats(-4, 0), st.sampled_from([None, 3, 12]))
def test_a_trapezoid_with_a_rest_is_scipys_quadrature(beta, rest, z, dof):
    over = math.sqrt((1 + beta**2) / 6)
    half = 1 / (over * math.sqrt(1 + rest**2))
    s, edge = rest * over * half, (1 - beta) / 2
    cdf = norm.cdf if dof is None else lambda y: t.cdf(y, dof)
    density = trapezoid(edge, 1 - edge, loc=-half, scale=2 * half)
    points = sorted({-half * beta, half * beta, *(x for x in (z,) if abs(x) < half)})
    expected, _ = integrate.quad(
        lambda x: density.pdf(x) * cdf((z - x) / s), -half, half, points=points, limit=400
    )
    found = shape(f"{beta:.17f}", f"{rest:.17f}", dof).tail(z)
    assert found == pytest.approx(expected, abs=2e-8)


def test_the_result_of_a_coarse_indicator_has_the_risk_of_its_rectangle():
    # Digit 0.2 kN (half-width 0.1), reference U 0.01 (u 0.005); 50.44 below 50.5: a Monte Carlo
    # of five million draws gave 0.1997; the normal distribution gives 0.1503.
    u_rect, u_rest = 0.1 / math.sqrt(3), 0.005
    u = math.hypot(u_rect, u_rest)
    density = shape(1, u_rest / u_rect)
    U = D(repr(2 * u))
    found = decide(D("50.44"), U, Limits(None, D("50.5")), BUILT_IN["simple"], density=density)
    assert found.specific_risk["consumer"] == pytest.approx(0.1997, abs=5e-4)
    normal = decide(D("50.44"), U, Limits(None, D("50.5")), BUILT_IN["simple"])
    assert normal.specific_risk["consumer"] == pytest.approx(0.1503, abs=5e-4)
    assert "a rectangle convolved with the rest" in found.statement


def test_the_ratio_is_that_of_the_densitys_own_95_percent():
    # A rectangle of half-width 0.1: 95.45 % lie within 0.09545; TUR = 1/(2 x 0.0954500).
    U, k = D("0.1"), D(repr(math.sqrt(3)))
    ratio = uncertainty_ratio(Limits(D(0), D(1)), U, k, density=Density())
    assert float(ratio) == pytest.approx(1 / (2 * 0.1 * math.erf(math.sqrt(2))), rel=1e-12)
    rule = rule_from_mapping({"guard": {"basis": "none"}, "precondition": {"least_tur": "5.2"}})
    assert choose(rule, Limits(D(0), D(1)), U, k=k, density=Density()).number == 1
    assert choose(rule, Limits(D(0), D(1)), U, k=k).number == 2  # 1/(2 x 2 x 0.0577) = 4.33


@pytest.mark.parametrize("target", ["0.025", "0.2", "0.7"])
def test_a_solved_guard_band_has_its_target_under_the_density(target):
    # P(X > w) = (1 - w/a)/2 = target for a rectangle: w = a (1 - 2 target).
    rule = Rule(guard=Guard("specific_risk", target=D(target)))
    U, k = D("0.1"), D(repr(math.sqrt(3)))
    found = acceptance(Limits(None, D(1)), U, rule, k=k, density=Density())
    assert float(found.guard_upper) == pytest.approx(0.1 * (1 - 2 * float(target)), abs=1e-12)


def test_a_solved_guard_band_counts_both_tails_and_may_not_exist():
    # Width 0.12 under a rectangle of 0.2: 0.4 lies outside even from the middle.
    U, k = D("0.1"), D(repr(math.sqrt(3)))
    closed = acceptance(
        Limits(D(0), D("0.12")), U, Rule(guard=Guard("specific_risk", target=D("0.3"))), k=k,
        density=Density(),
    )  # fmt: skip
    assert closed.empty
    wide = acceptance(
        Limits(D(0), D("0.19")), U, Rule(guard=Guard("specific_risk", target=D("0.1"))), k=k,
        density=Density(),
    )  # fmt: skip
    # One tail: (0.1 - w)/0.2 = 0.1, w = 0.08; the other limit is 0.11 away, beyond the rectangle.
    assert float(wide.guard_upper) == pytest.approx(0.08, abs=1e-12)


def test_priors_take_the_normal_distribution_and_the_verdict_stays():
    limits, prior = Limits(D(9), D(11)), Prior(D(10), D("0.5"))
    plain = decide(D("10.8"), D("0.2"), limits, BUILT_IN["guard_U"], prior=prior)
    flat = decide(D("10.8"), D("0.2"), limits, BUILT_IN["guard_U"], prior=prior, density=Density())
    assert flat.global_risk == plain.global_risk
    assert flat.verdict == plain.verdict
    assert flat.specific_risk["consumer"] == 0.0  # 2 u from the limit, the rectangle ends at 1.73 u
    assert flat.capability == plain.capability


def test_a_normal_contribution_joins_the_rest():
    # u of the rectangle 1, of the rest 0.3, of what joins 0.4: rest 0.5, u^2 from 1.09 to 1.25.
    found = shape(1, "0.3", 5).widened(Fraction("1.25") / Fraction("1.09"))
    assert float(found.rest_over_dominant) == pytest.approx(0.5, rel=1e-11)
    # Welch-Satterthwaite: 5 (0.25/0.09)^2.
    assert float(found.rest_dof) == pytest.approx(5 * (0.25 / 0.09) ** 2, rel=1e-10)
    assert shape(1).widened(Fraction(1)) == shape(1, 0)
    assert shape(1).widened(Fraction(200)) is None


@pytest.mark.parametrize(
    ("parts", "field"),
    [
        ({"beta": D("1.1")}, "beta"),
        ({"rest_over_dominant": D(-1)}, "rest_over_dominant"),
        ({"rest_dof": D(0)}, "rest_dof"),
    ],
)
def test_a_shape_that_cannot_be_is_refused(parts, field):
    with pytest.raises(FieldError) as caught:
        Density(**parts)
    assert caught.value.field == f"/density/{field}"
