"""The bivariate normal distribution: corners and rectangles against an independent quadrature."""

import mpmath as mp
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.bivariate import quadrant, usual_rectangle

spreads = st.sampled_from([0.01, 0.3, 1.0, 4.0])
edges = st.floats(-6, 6).filter(lambda x: abs(x) > 1e-3)


def by_quadrature(x_l, x_u, y_l, y_u, s, e) -> float:
    """P(x_l <= X <= x_u, y_l <= X + E <= y_u), integrated over X with mpmath."""
    with mp.workdps(20):

        def density(x):
            inside = mp.ncdf((y_u - x) / e) - mp.ncdf((y_l - x) / e)
            return mp.npdf(x, 0, s) * inside

        steps = {x_l, x_u, *(y + n * e for y in (y_l, y_u) for n in (-9, -3, 0, 3, 9))}
        points = sorted(float(p) for p in steps if x_l <= p <= x_u)
        return float(mp.quad(density, points))


@pytest.mark.parametrize("s", [0.3, 1.0])
@pytest.mark.parametrize("e", [0.05, 0.5, 2.0])
@pytest.mark.parametrize("y", [(-1.0, 0.7), (-3.0, -0.2), (0.1, 5.0)])
def test_a_rectangle_agrees_with_quadrature_to_1e_12(s, e, y):
    given = (-2.0, 1.5, *y, s, e)
    arrays = (np.array([number]) for number in given)
    assert usual_rectangle(*arrays)[0] == pytest.approx(by_quadrature(*given), abs=1e-12)


@given(edges, edges, edges, edges, spreads, spreads)
def test_a_rectangle_is_made_of_its_four_quadrants(a, b, c, d, s, e):
    (x_l, x_u), (y_l, y_u) = sorted((a, b)), sorted((c, d))
    numbers = [np.array([number]) for number in (x_l, x_u, y_l, y_u, s, e)]
    low, high, bottom, top, sd, um = numbers
    corners = (
        quadrant(high, top, sd, um)
        - quadrant(low, top, sd, um)
        - quadrant(high, bottom, sd, um)
        + quadrant(low, bottom, sd, um)
    )
    assert usual_rectangle(*numbers)[0] == pytest.approx(corners[0], abs=1e-14)


def test_a_quadrant_without_a_bound_is_the_tail_of_the_other():
    one, ever = np.array([1.0]), np.array([np.inf])
    assert quadrant(ever, one, one, one)[0] == pytest.approx(0.76024993890652)  # Phi(1/sqrt 2)
    assert quadrant(one, ever, one, one)[0] == pytest.approx(0.84134474606854)  # Phi(1)
    assert quadrant(-ever, one, one, one)[0] == 0.0


def test_the_quadrant_at_the_origin_is_sheppards():
    nought, one = np.array([0.0]), np.array([1.0])
    # 1/4 + arcsin(rho)/(2 pi) with rho = 1/sqrt 2
    assert quadrant(nought, nought, one, one)[0] == pytest.approx(0.375)
