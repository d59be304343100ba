"""Divisors: each against the second moment of its density, integrated independently."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import pi, sqrt

import numpy as np
import pytest
from scipy import integrate

from api.rules.exact import FieldError
from api.rules.uncertainty.distributions import DISTRIBUTIONS, FORMS, standard


def figures(**given):
    return {name: Decimal(text) for name, text in given.items()}


def trapezoid(x, beta):
    height = 1 / (1 + beta)
    return height if abs(x) <= beta else height * (1 - abs(x)) / (1 - beta)


# Densities on [-1, 1]: JCGM 101:2008, 6.4.2 to 6.4.6 (from memory).
DENSITIES = {
    "rectangular": (lambda x: 0.5, figures(half_width="1")),
    "triangular": (lambda x: 1 - abs(x), figures(half_width="1")),
    "trapezoidal": (lambda x: trapezoid(x, 0.4), figures(half_width="1", beta="0.4")),
    "resolution": (lambda x: 0.5, figures(digit="2")),
}


@pytest.mark.parametrize("name", DENSITIES)
def test_a_bounded_figure_has_the_variance_of_its_density(name):
    density, given = DENSITIES[name]
    second, _ = integrate.quad(lambda x: x * x * density(x), -1, 1, points=[-0.4, 0, 0.4])
    assert float(standard(name, given).variance) == pytest.approx(second, rel=1e-9)


def test_a_u_shaped_figure_has_the_variance_of_a_sine():
    # The arcsine density is that of sin over a whole turn, whose mean square is 1/2.
    mean_square, _ = integrate.quad(lambda angle: np.sin(angle) ** 2 / (2 * pi), 0, 2 * pi)
    assert float(standard("u_shaped", figures(half_width="1")).variance) == pytest.approx(
        mean_square
    )


def test_a_certificate_is_divided_by_its_coverage_factor():
    # JCGM 100:2008, H.1.3.1 (read in public tests of open code): 0.075 um at k = 3 is 25 nm.
    found = standard("normal", figures(U="75", k="3", dof="18"))
    assert (found.variance, found.dof, found.divisor) == (625, 18, "k = 3")


def test_a_pooled_deviation_keeps_its_own_degrees_of_freedom():
    # JCGM 100:2008, H.1.3.2: s = 13 nm of 25 observations pooled, 5 in the mean: 5.8 nm, 24.
    found = standard("student", figures(s="13", n="5", dof="24"))
    assert float(found.variance) ** 0.5 == pytest.approx(5.8, abs=0.05)
    assert found.dof == 24
    assert standard("student", figures(s="13", n="5")).dof == 4


def test_readings_give_the_standard_deviation_of_their_mean():
    readings = [Decimal(text) for text in ("2.00010", "2.00050", "2.00120")]
    found = standard("readings", {"readings": readings})
    numbers = [float(one) for one in readings]
    assert float(found.variance) ** 0.5 == pytest.approx(np.std(numbers, ddof=1) / sqrt(3))
    assert (found.mean, found.dof) == (Fraction("2.0006"), 2)
    assert float(found.figure) == pytest.approx(np.std(numbers, ddof=1))


def test_variances_are_exact():
    assert standard("rectangular", figures(half_width="0.1")).variance == Fraction(1, 300)
    assert standard("resolution", figures(digit="0.1")).variance == Fraction(1, 1200)


def test_a_trapezoid_goes_from_triangle_to_rectangle():
    for beta, name in (("0", "triangular"), ("1", "rectangular")):
        same = standard("trapezoidal", figures(half_width="3", beta=beta))
        assert same.variance == standard(name, figures(half_width="3")).variance


@pytest.mark.parametrize(
    ("distribution", "given", "pointer"),
    [
        ("gaussian", figures(u="1"), "/distribution"),
        ("normal", {}, "/U"),
        ("normal", figures(U="1"), "/k"),
        ("normal", figures(U="1", k="0"), "/k"),
        ("normal", figures(u="-1"), "/u"),
        ("normal", figures(u="1", U="1", k="2"), "/u"),
        ("normal", figures(half_width="1"), "/half_width"),
        ("normal", figures(u="1", dof="0.5"), "/dof"),
        ("student", figures(u="1"), "/dof"),
        ("student", figures(s="1", n="1"), "/dof"),
        ("student", figures(s="1", n="0", dof="3"), "/n"),
        ("trapezoidal", figures(half_width="1"), "/beta"),
        ("trapezoidal", figures(half_width="1", beta="1.1"), "/beta"),
        ("rectangular", figures(half_width="1", beta="0"), "/beta"),
        ("readings", {"readings": [Decimal(1)]}, "/readings"),
        ("readings", {"readings": [Decimal(1), Decimal(2)], "dof": Decimal(4)}, "/dof"),
    ],
)
def test_a_figure_that_does_not_belong_is_named(distribution, given, pointer):
    with pytest.raises(FieldError) as caught:
        standard(distribution, given)
    assert caught.value.field == pointer


def test_every_distribution_has_a_form():
    assert set(FORMS) == set(DISTRIBUTIONS)
    assert len(DISTRIBUTIONS) == 8
