"""Guard bands on columns equal the exact ones within the error they admit."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.acceptance import Prior, acceptance
from api.rules.at_95 import uncertainty_at_95 as scalar_at_95
from api.rules.bands import Rows, guard_bands, uncertainty_at_95
from api.rules.guard import Step
from api.rules.limits import Limits
from api.rules.rule import Guard, Rule

GUARDS = [
    Guard("none"),
    Guard("U", factor=Decimal("0.83")),
    Guard("U", factor=Decimal(-1)),
    Guard("absolute", width=(Decimal("0.1"), Decimal("-0.3"))),
    Guard("tolerance", share=Decimal("0.2")),
    Guard("managed"),
    Guard("rds"),
    Guard("specific_risk", target=Decimal("0.025")),
    Guard("specific_risk", target=Decimal("0.7")),
    Guard("global_risk", target=Decimal("0.002")),
    Guard(
        "tur_table",
        steps=(
            Step(Decimal(0), factor=Decimal(1)),
            Step(Decimal("1.5"), share=Decimal("0.1")),
            Step(Decimal(4), factor=Decimal(0)),
        ),
    ),
]
numbers = st.decimals(-1000, 1000, places=4)
positive = st.decimals("0.0001", 50, places=4)


def column(number):
    return np.array([float(number)])


@settings(deadline=None)
@given(numbers, positive, positive, st.sampled_from(["2", "1.96", "3"]), st.sampled_from(GUARDS))
def test_a_float_band_is_as_near_to_the_exact_one_as_it_says(lower, width, U, k, guard):
    limits, prior = Limits(lower, lower + width), Prior(lower, Decimal(1))
    exact = acceptance(limits, U, Rule(guard=guard), k=Decimal(k), prior=prior)
    rows = Rows(
        column(lower),
        column(U),
        column(k),
        column(lower),
        column(limits.upper),
        prior_mean=column(prior.mean),
        prior_sd=column(prior.sd),
    )
    bands = guard_bands(Rule(guard=guard), rows)
    if bands.unusable is not None and bands.unusable[0]:
        # Only where the ratio is that of a step, which floats need not tell.
        at_95, divisor = scalar_at_95(U, Decimal(k), None)
        tur = Fraction(width) * Fraction(divisor) / (2 * Fraction(at_95))
        doubt = 1e-12 + 1e-14 * float(abs(lower) / width)
        assert any(abs(tur / Fraction(step.from_tur or 1) - 1) < doubt for step in guard.steps)
        return
    errors = (
        bands.lower[0] - float(exact.guard_lower),
        bands.upper[0] - float(exact.guard_upper),
    )
    doubt = bands.doubt(rows, np.array([0]))[0]
    largest = np.abs([*rows.value, *rows.lower, *rows.upper]).max()
    assert np.abs(errors).max() <= doubt <= bands.most_doubt(largest)
    # A doubt that is never small would send every row to exact arithmetic.
    assert doubt <= 1e-4 * (abs(float(lower)) + float(width) + float(U))


def test_a_single_limit_is_unusable_where_the_basis_needs_the_width():
    rows = Rows(*(column(x) for x in (0, 1, 2, "nan", 5)))
    for guard in GUARDS:
        unusable = guard_bands(Rule(guard=guard), rows).unusable
        unusable = unusable is not None and unusable[0]
        # Without a prior a global risk has no meaning either.
        assert unusable == (
            guard.basis
            in (
                "tolerance",
                "managed",
                "rds",
                "global_risk",
                "tur_table",
            )
        )


def test_rows_that_accept_nothing_are_closed():
    rows = Rows(*(np.array(x, float) for x in ([0, 0], [2, 0.1], [2, 2], [-1, -1], [1, 1])))
    for guard in (Guard("rds"), Guard("specific_risk", target=Decimal("0.01"))):
        bands = guard_bands(Rule(guard=guard), rows)
        assert bands.closed.tolist() == [True, False]
        assert bands.lower[0] == 1.0


# JCGM 100:2008, table G.2: t = 2.87 for 4 degrees of freedom at 95.45 %; 2.776 covers 95 %.
@pytest.mark.parametrize(("k", "expected"), [(2.0, 2.87 / 2), (3.0, 2.87 / 3), (2.776, 1.0)])
def test_uncertainty_at_95_percent_follows_the_scalar_convention(k, expected):
    rows = Rows(*(column(x) for x in (0, 1, k, -1, 1)), dof=column(4))
    assert uncertainty_at_95(rows)[0] == pytest.approx(expected, abs=0.002)
    alone, divisor = scalar_at_95(Decimal(1), Decimal(str(k)), 4.0)
    assert uncertainty_at_95(rows)[0] == pytest.approx(float(alone / divisor), rel=1e-14)
    without = Rows(*(column(x) for x in (0, 1, k, -1, 1)), dof=column(np.nan))
    assert uncertainty_at_95(without)[0] == pytest.approx(2 / k, rel=1e-15)
