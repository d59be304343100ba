"""A prior behind an observed in-tolerance rate; values from the normal distribution.

A value observed with u scatters with sqrt(sd^2 + u^2); a rate of Phi(2) - Phi(-2) inside two limits
means that this is half the distance to a limit.
"""

from decimal import Decimal
from fractions import Fraction
from math import erf, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.acceptance import acceptance
from api.rules.exact import FieldError
from api.rules.limits import Limits
from api.rules.reliability import prior_from_observed
from api.rules.risk import global_risk
from api.rules.rule import Guard, Rule
from api.rules.units import FORCE_UNITS, to_newton

TWO_SIGMA = Decimal(str(erf(sqrt(2))))
TWO = Limits(Decimal(9), Decimal(11))


def test_the_observed_rate_already_contains_the_measurement_error():
    found = prior_from_observed(TWO_SIGMA, TWO, Decimal("0.6"), Decimal(2))
    # observed sd 0.5, u = 0.3: the items scatter with 0.4
    assert (found.mean, float(found.sd)) == (10, pytest.approx(0.4, rel=1e-12))


def test_a_mean_off_the_middle_is_kept_and_the_rate_comes_out_again():
    found = prior_from_observed(Decimal("0.9"), TWO, Decimal("0.4"), Decimal(2), Decimal("10.2"))
    accepted = global_risk(9, 11, 9, 11, 10.2, float(found.sd), 0.2).accepted
    assert found.mean == Decimal("10.2")
    assert accepted == pytest.approx(0.9, abs=1e-12)


def test_a_single_limit_needs_the_mean():
    upper = Limits(None, Decimal(11))
    with pytest.raises(FieldError, match="needs the mean") as refused:
        prior_from_observed(Decimal("0.9"), upper, Decimal("0.4"), Decimal(2))
    assert refused.value.field == "/mean"
    found = prior_from_observed(TWO_SIGMA, upper, Decimal(0), Decimal(2), Decimal(10))
    assert float(found.sd) == pytest.approx(1 / 1.6900, rel=1e-3)  # Phi(1.690) = 0.9545


@pytest.mark.parametrize("mean", ["9", "11", "12"])
def test_the_mean_must_lie_inside_the_limits(mean):
    with pytest.raises(FieldError, match="inside the limits") as refused:
        prior_from_observed(Decimal("0.9"), TWO, Decimal("0.4"), Decimal(2), Decimal(mean))
    assert refused.value.field == "/mean"


def test_a_rate_that_the_measurement_alone_would_spoil_is_refused():
    with pytest.raises(FieldError, match="check u") as refused:
        prior_from_observed(Decimal("0.99"), TWO, Decimal(2), Decimal(2))
    assert refused.value.field == "/reliability"


@settings(deadline=None, max_examples=30)
@given(
    st.decimals("0.6", "0.99", places=2),
    st.decimals("0.01", "0.3", places=2),
    st.sampled_from(FORCE_UNITS),
)
def test_the_unit_changes_neither_the_prior_nor_the_guard_band_solved_with_it(rate, U, unit):
    rule = Rule(guard=Guard("global_risk", target=Decimal("0.005")))
    prior = prior_from_observed(rate, TWO, U, Decimal(2))
    factor = to_newton(1, unit)
    limits = Limits(9 * factor, 11 * factor)
    other = prior_from_observed(rate, limits, to_newton(U, unit), Decimal(2))
    assert (other.mean, other.sd) == (Fraction(prior.mean) * factor, Fraction(prior.sd) * factor)
    w = acceptance(TWO, U, rule, prior=prior).guard_upper
    assert (
        acceptance(limits, to_newton(U, unit), rule, prior=other).guard_upper
        == Fraction(w) * factor
    )
