"""The fitted polynomial against certified data, a reference library and its own equations."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from api.rules.uncertainty.interpolation import NotEnoughReadings, fit_polynomial

# NIST Statistical Reference Datasets "Pontius" (calibration of a load cell) and "Norris": data and
# certified values from memory; that the one gives the other to 14 digits confirms both.
PONTIUS = """.11019 .21956 .32949 .43899 .54803 .65694 .76562 .87487 .98292 1.09146
1.20001 1.30822 1.41599 1.52399 1.63194 1.73947 1.84646 1.95392 2.06128 2.16844
.11052 .22018 .32939 .43886 .54798 .65739 .76596 .87474 .98300 1.09150
1.20004 1.30818 1.41613 1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829"""
NORRIS = """0.1 0.2, 338.8 337.4, 118.1 118.2, 888.0 884.6, 9.2 10.1, 228.1 226.5, 668.5 666.3,
998.5 996.3, 449.1 448.6, 778.9 777.0, 559.2 558.2, 0.3 0.4, 0.1 0.6, 778.1 775.5, 668.8 666.9,
339.3 338.0, 448.9 447.5, 10.8 11.6, 557.7 556.0, 228.3 228.1, 998.0 995.8, 888.8 887.6,
119.6 120.2, 0.3 0.3, 0.6 0.3, 557.6 556.8, 339.3 339.1, 888.0 887.2, 998.5 999.0, 778.9 779.0,
10.2 11.1, 117.6 118.3, 228.9 229.2, 668.4 669.1, 449.2 448.9, 0.2 0.5"""


def test_a_load_cell_calibration_has_its_certified_coefficients():
    readings = [
        (Fraction(150_000 * (place % 20 + 1)), Fraction(value))
        for place, value in enumerate(PONTIUS.split())
    ]
    found = fit_polynomial(readings, 2)
    certified = 0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14
    assert [float(c) for c in found.coefficients] == pytest.approx(certified, rel=1e-14)
    assert float(found.residual_sd) == pytest.approx(0.205177424076185e-03, rel=1e-14)
    assert found.dof == 37


def test_a_line_has_its_certified_coefficients():
    pairs = [pair.split() for pair in NORRIS.split(",")]
    found = fit_polynomial([(Fraction(x), Fraction(y)) for y, x in pairs], 1)
    certified = -0.262323073774029, 1.00211681802045
    assert [float(c) for c in found.coefficients] == pytest.approx(certified, rel=1e-14)
    assert float(found.residual_sd) == pytest.approx(0.884796396144373, rel=1e-14)


@pytest.mark.parametrize("degree", [1, 2, 3])
@pytest.mark.parametrize("constant", [True, False])
def test_the_coefficients_are_those_of_numpy(degree, constant):
    random = np.random.default_rng(degree)
    x = np.tile(np.arange(1.0, 11.0), 3)
    y = 0.2 * x + 1e-4 * x**2 + random.normal(0, 1e-4, x.size)
    powers = np.arange(0 if constant else 1, degree + 1)
    wanted, squares, *_ = np.linalg.lstsq(x[:, None] ** powers, y, rcond=None)
    found = fit_polynomial(
        [(Fraction(a), Fraction(b)) for a, b in zip(x.tolist(), y.tolist(), strict=True)],
        degree,
        constant=constant,
    )
    offset = 0 if constant else 1
    assert [float(c) for c in found.coefficients[offset:]] == pytest.approx(wanted, rel=1e-8)
    assert found.coefficients[:offset] == (0,) * offset
    spread = np.sqrt(squares[0] / (x.size - len(powers)))
    assert float(found.residual_sd) == pytest.approx(spread, rel=1e-9)


def test_large_forces_do_not_spoil_a_cubic():
    # Meganewtons in newtons: floats would meet 1e39 in the normal equations.
    true = (Fraction("0.001"), Fraction("2e-6"), Fraction("3e-14"), Fraction("-1e-21"))
    forces = [Fraction(3_000_000 + 1000 * step) for step in range(8)]
    readings = [(x, sum(c * x**n for n, c in enumerate(true))) for x in forces]
    found = fit_polynomial(readings, 3)
    assert found.coefficients == true
    assert found.residual_sd == 0


@pytest.mark.parametrize(("constant", "least"), [(True, 5), (False, 4)])
def test_a_curve_through_all_its_forces_is_no_fit(constant, least):
    def readings(different):
        return [(Fraction(x % different + 1), Fraction(x)) for x in range(4 * different)]

    assert fit_polynomial(readings(least), 3, constant=constant).dof > 0
    with pytest.raises(NotEnoughReadings, match="different"):
        fit_polynomial(readings(least - 1), 3, constant=constant)
