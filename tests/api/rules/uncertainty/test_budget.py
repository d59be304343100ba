"""Budgets against JCGM 100, an independent Monte Carlo (JCGM 101) and the uncertainties package.

"Read" and "from memory" say how the published values are known.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import cos, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values_norm, ufloat, umath

from api.rules.uncertainty.budget import Component, combine, effective_dof, relative
from api.rules.uncertainty.correlation import correlations
from api.rules.uncertainty.coverage import student_factor
from api.rules.uncertainty.distributions import standard
from api.rules.uncertainty.rounding import rounded_up


def part(name, distribution, sensitivity="1", **figures):
    given = {key: Decimal(text) for key, text in figures.items()}
    return Component(name, standard(distribution, given), Fraction(1), Fraction(sensitivity))


def combined(parts, *pairs):
    names = [one.name for one in parts]
    given = [((one, other), Decimal(str(r))) for one, other, r in pairs]
    return combine(parts, correlations(names, given))


def end_gauge():
    """JCGM 100:2008, H.1 (read in public tests of open code), in nm."""
    return [
        part("standard", "normal", U="75", k="3", dof="18"),
        part("repeated observations", "student", s="13", n="5", dof="24"),
        part("random effects of comparator", "student", u="3.9", dof="5"),
        part("systematic effects of comparator", "student", u="6.7", dof="8"),
        part("expansion coefficients", "student", u="2.9", dof="50"),
        part("temperatures", "student", u="16.6", dof="2"),
    ]


def test_the_end_gauge_of_the_gum():
    # Published: u = 32 nm, nu_eff = 16.7 -> 16, t99 = 2.92, U99 = 93 nm (read).
    found = combined(end_gauge())
    assert round(found.u, 1) == Decimal("31.7")
    # The printed inputs give 16.76, which the document prints as 16.7.
    assert 16.7 <= found.dof < 16.8
    assert found.dof_for_k == 16
    k = student_factor(Decimal(99), found.dof_for_k)
    assert round(k, 2) == Decimal("2.92")
    assert rounded_up(k * found.u) == 93


def test_the_product_of_three_factors_of_the_gum():
    # JCGM 100:2008, G.4.1: relative u of 0.25, 0.57 and 0.82 % of n = 10, 5, 15 readings give
    # 1.03 %, nu_eff = 19.0 and U95 = 2.2 % with k = 2.09 (from memory; recalculated 18.999).
    figures = (("x1", "0.25", "9"), ("x2", "0.57", "4"), ("x3", "0.82", "14"))
    found = combined([part(name, "student", u=u, dof=dof) for name, u, dof in figures])
    assert round(found.u, 2) == Decimal("1.03")
    assert float(found.dof) == pytest.approx(18.999, abs=0.0006)
    # Printed as 19.0 and looked up at 19; cut down it is 18, and k larger in the third digit.
    assert found.dof_for_k == 18
    assert round(student_factor(Decimal(95), 19) * found.u, 1) == Decimal("2.2")
    assert round(student_factor(Decimal(95), found.dof_for_k) * found.u, 1) == Decimal("2.2")


# JCGM 100:2008, H.2, table H.2: five simultaneous observations (from memory). The published means,
# deviations and coefficients, checked in the test against these observations, are from memory too.
VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
MILLIAMPERES = [19.663, 19.639, 19.640, 19.685, 19.678]
RADIANS = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def impedance(quantity):
    """Components of R = V cos(phi) / A, X = V sin(phi) / A or Z = V / A, with derivatives."""
    V, A, phi = 4.999, 19.661e-3, 1.04446
    u = {"V": 0.0032, "I": 0.0095e-3, "phi": 0.00075}
    slope = {
        "R": (cos(phi) / A, -V * cos(phi) / A**2, -V * sin(phi) / A),
        "X": (sin(phi) / A, -V * sin(phi) / A**2, V * cos(phi) / A),
        "Z": (1 / A, -V / A**2, 0.0),
    }[quantity]
    return [
        part(name, "student", sensitivity=repr(c), u=repr(u[name]), dof="4")
        for name, c in zip(("V", "I", "phi"), slope, strict=True)
    ]


COEFFICIENTS = (("V", "I", "-0.36"), ("V", "phi", "0.86"), ("I", "phi", "-0.65"))


def test_the_remembered_observations_give_the_remembered_coefficients():
    r = np.corrcoef([VOLTS, MILLIAMPERES, RADIANS])
    found = [round(r[i, j], 2) for i, j in ((0, 1), (0, 2), (1, 2))]
    assert found == [float(text) for _, _, text in COEFFICIENTS]
    for readings, u in ((VOLTS, 0.0032), (MILLIAMPERES, 0.0095), (RADIANS, 0.00075)):
        assert np.std(readings, ddof=1) / 5**0.5 == pytest.approx(u, rel=0.02)


@pytest.mark.parametrize(("quantity", "u"), [("R", 0.071), ("X", 0.295), ("Z", 0.236)])
def test_the_correlated_impedance_of_the_gum(quantity, u):
    # JCGM 100:2008, table H.3: R = 127.732 (0.071), X = 219.847 (0.295), Z = 254.260 (0.236) ohm
    # (from memory).
    found = combined(impedance(quantity), *COEFFICIENTS)
    assert float(found.u) == pytest.approx(u, abs=0.004)
    # Five observations of all three at once: four degrees of freedom, whatever the sum of them.
    assert found.dof == 4
    assert found.groups == (("V", "I", "phi"),)


@pytest.mark.parametrize("quantity", ["R", "X", "Z"])
def test_the_correlated_impedance_agrees_with_the_uncertainties_package(quantity):
    r = np.eye(3)
    for (i, j), (_, _, text) in zip(((0, 1), (0, 2), (1, 2)), COEFFICIENTS, strict=True):
        r[i, j] = r[j, i] = float(text)
    V, A, phi = correlated_values_norm(
        [(4.999, 0.0032), (19.661e-3, 0.0095e-3), (1.04446, 0.00075)], r
    )
    reference = {"R": V * umath.cos(phi) / A, "X": V * umath.sin(phi) / A, "Z": V / A}[quantity]
    found = combined(impedance(quantity), *COEFFICIENTS)
    assert float(found.u) == pytest.approx(reference.std_dev, rel=1e-9)


def test_shares_under_correlation_are_signed_and_sum_to_one():
    found = combined(impedance("R"), *COEFFICIENTS)
    assert sum(found.shares) == 1
    assert min(found.shares) < 0
    assert float(combined(impedance("R")).u) == pytest.approx(0.195, abs=0.001)  # ignoring it


def test_a_monte_carlo_of_correlated_inputs_agrees():
    # JCGM 101:2008: 10^6 draws of a multivariate normal through R = V cos(phi) / A.
    draws = np.random.default_rng(2026)
    u = np.array([0.0032, 0.0095e-3, 0.00075])
    r = np.eye(3)
    r[0, 1] = r[1, 0] = -0.36
    r[0, 2] = r[2, 0] = 0.86
    r[1, 2] = r[2, 1] = -0.65
    V, A, phi = draws.multivariate_normal([4.999, 19.661e-3, 1.04446], r * np.outer(u, u), 10**6).T
    found = combined(impedance("R"), *COEFFICIENTS)
    assert np.std(V * np.cos(phi) / A) == pytest.approx(float(found.u), rel=0.005)


def test_a_monte_carlo_of_a_nonlinear_model_agrees_where_its_linear_part_prevails():
    # A deadweight F = m g (1 - a / d): 500 kg, rectangular air density, normal d; JCGM 101:2008.
    draws = np.random.default_rng(7)
    n = 10**6
    m, g = draws.normal(500, 0.0025, n), draws.uniform(9.80096, 9.80106, n)
    a, d = draws.uniform(1.10, 1.30, n), draws.normal(7840, 40, n)
    F = m * g * (1 - a / d)
    buoyancy = 1 - 1.2 / 7840
    parts = [
        part("m", "normal", repr(9.80101 * buoyancy), u="0.0025"),
        part("g", "rectangular", repr(500 * buoyancy), half_width="0.00005"),
        part("a", "rectangular", repr(-500 * 9.80101 / 7840), half_width="0.10"),
        part("d", "normal", repr(500 * 9.80101 * 1.2 / 7840**2), u="40"),
    ]
    found = combined(parts)
    assert np.std(F) == pytest.approx(float(found.u), rel=0.005)
    reach = student_factor(Decimal(95), found.dof_for_k) * found.u
    inside = np.mean(np.abs(F - 500 * 9.80101 * buoyancy) <= float(reach))
    assert inside == pytest.approx(0.95, abs=0.015)


def test_a_monte_carlo_shows_what_a_linear_budget_cannot_see():
    # JCGM 100:2008, H.1 (the second-order note): the temperature's first derivative is 0 there.
    # L (da dt) with da ~ 0.58e-6, dt ~ 0.41 K about 0: linear 0, in truth 50e6 nm x the product.
    draws = np.random.default_rng(3)
    product = draws.normal(0, 0.58e-6, 10**6) * draws.normal(0, 0.41, 10**6) * 50e6
    linear = [part("da", "normal", "0", u="0.00000058"), part("dt", "normal", "0", u="0.41")]
    assert combined(linear).u == 0
    assert np.std(product) == pytest.approx(11.9, abs=0.2)


def test_the_force_transducer_of_the_dossier():
    # w1 to w8 in percent, invented inputs (calculated independently): w = 0.04481, W = 0.08963.
    readings = [Decimal(text) for text in ("2.00010", "2.00050", "2.00120")]
    in_percent = Fraction(100) / Fraction("2.0006")
    parts = [
        part("w1", "normal", U="0.020", k="2"),
        Component("w2", standard("readings", {"readings": readings}), Fraction(1), in_percent),
        part("w3", "rectangular", half_width="0.03"),
        part("w4", "triangular", half_width="0.01"),
        part("w5", "rectangular", half_width="0.03"),
        part("w6", "normal", u="0.010"),
        part("w7", "rectangular", half_width="0.010"),
        part("w8", "normal", u="0.030"),
    ]
    found = combined(parts)
    shown = [round(float(one.variance) ** 0.5, 5) for one in parts]
    assert shown == [0.01, 0.01607, 0.01732, 0.00408, 0.01732, 0.01, 0.00577, 0.03]
    assert round(found.u, 5) == Decimal("0.04481")
    assert round(2 * found.u, 5) == Decimal("0.08963")


def test_the_mass_of_ten_kilograms():
    # EA-4/02 M:2022, S2, in mg (from memory): u = 29.3 mg, U = 59 mg at k = 2.
    figures = ("22.5", "8.95", "14.4", "5.77", "5.77")
    found = combined([part(f"x{i}", "normal", u=u) for i, u in enumerate(figures)])
    assert round(found.u, 1) == Decimal("29.3")
    assert round(2 * found.u) == 59
    assert found.dof is None


def test_the_same_standard_used_twice_adds_up_and_in_a_difference_cancels():
    parts = [part("first", "normal", u="3"), part("second", "normal", u="4")]
    assert combined(parts, ("first", "second", 1)).u == 7
    against = [part("first", "normal", u="3"), part("second", "normal", "-1", u="4")]
    assert combined(against, ("first", "second", 1)).u == 1
    same = [
        part("first", "rectangular", half_width="1"),
        part("second", "rectangular", "-1", half_width="1"),
    ]
    gone = combined(same, ("first", "second", 1))
    assert (gone.u, gone.shares, gone.dof) == (0, None, None)


def test_a_group_of_correlated_components_is_one_input_with_the_smallest_dof():
    parts = [
        part("a", "student", u="3", dof="4"),
        part("b", "student", u="4", dof="9"),
        part("c", "student", u="5", dof="6"),
    ]
    found = combined(parts, ("a", "b", "0.5"))
    joint = 9 + 16 + 2 * Fraction(1, 2) * 12  # (a, b) together: 37, 4 degrees of freedom
    assert found.variance == joint + 25
    assert found.dof == Fraction(joint + 25) ** 2 / (Fraction(joint) ** 2 / 4 + Fraction(625, 6))


def test_a_whole_number_of_degrees_of_freedom_stays_whole():
    parts = [part("a", "student", u="0.1", dof="3"), part("b", "rectangular", half_width="0")]
    assert combined(parts).dof_for_k == 3
    correlated = [part("a", "student", u="0.1", dof="3"), part("b", "student", u="0.7", dof="3")]
    assert combined(correlated, ("a", "b", "0.3")).dof_for_k == 3


def test_welch_and_satterthwaite_never_exceed_the_sum_nor_fall_below_the_least():
    terms = [(Fraction(2), Fraction(5)), (Fraction(3), Fraction(7)), (Fraction(1), Fraction(2))]
    assert 2 <= effective_dof(terms) <= 14
    assert effective_dof([(Fraction(2), None)]) is None
    assert effective_dof([(Fraction(1), None), (Fraction(1, 10**9), Fraction(1))]) is None


def test_a_relative_uncertainty_of_zero_does_not_exist():
    assert relative(Decimal(1), Decimal(0)) is None
    assert relative(Decimal(1), Decimal(-200)) == Fraction(1, 2)


@st.composite
def budgets(draw):
    count = draw(st.integers(1, 5))
    figure = st.decimals("0.001", 100, places=3)
    slope = st.decimals(-10, 10, places=2).filter(bool)
    dof = st.one_of(st.none(), st.integers(1, 50))
    parts = []
    for i in range(count):
        given = {"u": draw(figure)}
        freedom = draw(dof)
        if freedom is not None:
            given["dof"] = Decimal(freedom)
        found = standard("normal", given)
        parts.append(Component(f"x{i}", found, Fraction(1), Fraction(draw(slope))))
    r = draw(st.decimals("-0.2", "0.2", places=2))  # five such rows are always semi-definite
    return parts, [("x0", f"x{i}", r) for i in range(1, count)]


@given(budgets())
def test_shares_always_sum_to_one(budget):
    parts, pairs = budget
    for found in (combined(parts), combined(parts, *pairs)):
        assert sum(found.shares) == 1


@given(budgets(), st.decimals(0, 10, places=3))
def test_another_uncorrelated_component_never_makes_it_smaller(budget, u):
    parts, pairs = budget
    more = [*parts, part("another", "rectangular", half_width=str(u))]
    assert combined(more, *pairs).u >= combined(parts, *pairs).u


@given(budgets(), st.decimals("0.001", 1000, places=3).filter(bool))
def test_a_change_of_unit_leaves_the_relative_uncertainty_and_everything_else(budget, factor):
    parts, pairs = budget
    changed = [
        Component(o.name, o.standard, o.scale * Fraction(factor), o.sensitivity) for o in parts
    ]
    before, after = combined(parts, *pairs), combined(changed, *pairs)
    value = Fraction(123)
    one, other = relative(before.u, value), relative(after.u, value * Fraction(factor))
    assert float(one) == pytest.approx(float(other), rel=1e-40)
    assert float(before.dof or 0) == pytest.approx(float(after.dof or 0), rel=1e-30)


@given(budgets())
def test_the_effective_dof_lies_between_the_least_and_the_sum(budget):
    parts, _ = budget
    found, known = combined(parts).dof, [one.standard.dof for one in parts]
    finite = [dof for dof in known if dof is not None]
    if finite and found is not None:
        assert found >= min(finite) - Fraction(1, 10**12)
        if len(finite) == len(known):
            assert found <= sum(finite) + Fraction(1, 10**12)


@given(budgets())
def test_an_uncorrelated_budget_agrees_with_the_uncertainties_package(budget):
    parts, _ = budget
    total = sum(float(o.factor) * ufloat(0, float(o.standard.variance) ** 0.5) for o in parts)
    assert float(combined(parts).u) == pytest.approx(total.std_dev, rel=1e-9)
