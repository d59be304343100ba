"""A result at the end of its interval: root sums of squares by hand (JCGM 100:2008)."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.exact import FieldError
from api.rules.interval_end import Drift, at_interval_end, dof_at_end
from api.rules.uncertainty.budget import effective_dof

D = Decimal
sizes = st.decimals("0.001", 10, places=4)


def test_a_drift_of_unknown_direction_widens_the_uncertainty_only():
    # Two years of 0.06 a year: half-width 0.12, u = 0.12/sqrt(3); with u = 0.08/2 = 0.04:
    # U = 2 sqrt(0.0016 + 0.0048) = 0.16.
    found = at_interval_end(D("10.02"), D("0.08"), D(2), Drift(D("730.5"), D("0.06")))
    assert found.value == D("10.02")
    assert float(found.U) == pytest.approx(0.16, rel=1e-15)
    assert found.growth == 4
    against = at_interval_end(D("10.02"), D("0.08"), D(2), Drift(D("730.5"), D("-0.06")))
    assert against == found


def test_a_known_drift_moves_the_value():
    # 0.06 a year for half a year, U of the rate 0.048 (k = 2): u = 0.012; u now 0.016: 0.02 x 2.
    drift = Drift(D("182.625"), D("-0.06"), D("0.048"), known=True)
    found = at_interval_end(D("10.02"), D("0.032"), D(2), drift)
    assert (found.value, found.U, found.u_drift) == (D("9.99"), D("0.04"), D("0.012"))


@given(sizes, sizes, st.integers(1, 60))
def test_degrees_of_freedom_are_those_of_the_welch_satterthwaite_formula(U, rate, dof):
    drift = Drift(D("365.25"), rate)
    found = at_interval_end(D(1), U, D(2), drift)
    terms = [(Fraction(U) ** 2 / 4, Fraction(dof)), (Fraction(rate) ** 2 / 3, None)]
    expected = effective_dof(terms)
    if expected is not None:
        assert float(dof_at_end(D(dof), found.growth)) == pytest.approx(float(expected), rel=1e-12)


def test_without_an_uncertainty_now_the_drift_alone_is_left():
    found = at_interval_end(D(1), D(0), D(2), Drift(D("365.25"), D(3)))
    assert float(found.U) == pytest.approx(2 * 3**0.5, rel=1e-15)
    assert found.growth is None
    assert dof_at_end(D(5), None) is None
    assert dof_at_end(None, Fraction(2)) is None


@pytest.mark.parametrize(
    ("parts", "field"),
    [
        ({"days": D(0)}, "/days"),
        ({"U_per_year": D(-1), "known": True}, "/U_per_year"),
        ({"U_per_year": D(1)}, "/U_per_year"),
    ],
)
def test_a_drift_that_cannot_be_is_refused(parts, field):
    with pytest.raises(FieldError) as caught:
        Drift(**{"days": D(365), "per_year": D(1)} | parts)
    assert caught.value.field == field
