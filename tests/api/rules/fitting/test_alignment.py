"""Cosine error and side load of an angle, compared with mpmath and with the figures of the trade.

152 ppm at 1 degree and 1370 ppm at 3 degrees: calculated, in the reference notes of the project.
"""

from __future__ import annotations

from decimal import Decimal

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.fitting.alignment import cosine_error, part_of, side_share

ANGLES = ["0.0001", "0.01", "0.1", "0.5", "1", "2", "3", "5", "30", "45", "60", "89.999"]


def by_mpmath(angle: str, of: str) -> mpmath.mpf:
    x = mpmath.mpf(angle) * mpmath.pi / 180
    return 1 - mpmath.cos(x) if of == "cosine" else mpmath.sin(x)


@pytest.mark.parametrize("angle", ANGLES)
def test_both_agree_with_mpmath_to_twelve_digits(angle):
    with mpmath.workdps(60):
        for found, of in (
            (cosine_error(Decimal(angle)), "cosine"),
            (side_share(Decimal(angle)), ""),
        ):
            expected = by_mpmath(angle, of)
            assert abs(mpmath.mpf(str(found)) - expected) <= abs(expected) * mpmath.mpf("5e-12")
            assert len(found.as_tuple().digits) <= 12


@pytest.mark.parametrize(("angle", "ppm"), [("0.5", 38), ("1", 152), ("2", 609), ("3", 1370)])
def test_the_cosine_error_is_that_of_the_trade(angle, ppm):
    assert round(cosine_error(Decimal(angle)) * 1_000_000) == ppm


def test_the_side_load_at_one_degree_is_1_75_percent():
    assert round(side_share(Decimal(1)) * 100, 2) == Decimal("1.75")
    # 20000 lbf x 0.0174524064373 (sin of 1 degree to 12 digits) = 349.048128746
    assert part_of(Decimal(20000), side_share(Decimal(1))) == Decimal("349.048128746")


def test_no_angle_does_nothing():
    assert cosine_error(Decimal(0)) == side_share(Decimal(0)) == 0


@pytest.mark.parametrize("angle", ["-0.1", "90", "180", "NaN"])
def test_what_is_no_such_angle_is_refused(angle):
    with pytest.raises((ValueError, ArithmeticError)):
        cosine_error(Decimal(angle))


@given(st.decimals(0, "89", places=6), st.decimals(0, "89", places=6))
def test_a_larger_angle_never_does_less(one, other):
    low, high = sorted((one, other))
    assert cosine_error(low) <= cosine_error(high)
    assert side_share(low) <= side_share(high)
