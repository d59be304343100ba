"""Acceptance limits of every basis, in Decimals and in Fractions, and when there are none."""

from decimal import Decimal
from fractions import Fraction
from math import exp, log

import pytest

from api.rules.acceptance import Acceptance, Prior, acceptance
from api.rules.exact import FieldError
from api.rules.guard import Step
from api.rules.limits import Limits
from api.rules.rule import Guard, Rule, RuleError

TWO = Limits(Decimal("9.00"), Decimal("11.00"))
UPPER = Limits(None, Decimal(11))
U = Decimal("0.50")


def rule(basis, **parameters):
    return Rule(guard=Guard(basis, **parameters))


FROM_TOLERANCE = [
    rule("tolerance", share=Decimal("0.2")),
    rule("managed"),
    rule("rds"),
]
SOLVED = [
    rule("specific_risk", target=Decimal("0.025")),
    rule("global_risk", target=Decimal("0.002")),
]
DIRECT = [
    rule("none"),
    rule("U", factor=Decimal("0.83")),
    rule("absolute", width=(Decimal("0.1"), Decimal("0.2"))),
]
PRIOR = Prior(Decimal(10), Decimal("0.5"))


def test_limits_keep_their_digits():
    found = acceptance(TWO, U, rule("U", factor=Decimal(1)))
    assert [str(x) for x in (found.lower, found.upper)] == ["9.50", "10.50"]


def test_an_asymmetric_width_moves_each_limit_by_its_own_band():
    found = acceptance(TWO, U, DIRECT[2])
    assert (found.lower, found.upper) == (Decimal("9.1"), Decimal("10.8"))
    assert (found.guard_lower, found.guard_upper) == (Decimal("0.1"), Decimal("0.2"))


def test_an_absent_limit_has_neither_acceptance_limit_nor_guard_band():
    found = acceptance(UPPER, U, rule("U", factor=Decimal(1)))
    assert found == Acceptance(None, Decimal("10.5"), None, Decimal("0.5"))


@pytest.mark.parametrize("chosen", DIRECT + FROM_TOLERANCE + SOLVED, ids=lambda r: r.guard.basis)
def test_fractions_and_decimals_give_the_same_acceptance(chosen):
    decimal = acceptance(TWO, U, chosen, prior=PRIOR)
    fraction = acceptance(TWO, Fraction(U), chosen, prior=PRIOR)
    asked = acceptance(TWO, U, chosen, prior=PRIOR, number=Fraction)
    assert fraction == asked
    assert isinstance(fraction.upper, Fraction)
    assert isinstance(decimal.upper, Decimal)
    assert (Fraction(decimal.lower), Fraction(decimal.upper)) == (fraction.lower, fraction.upper)
    assert 9 < decimal.lower < decimal.upper < 11 or chosen.guard.basis == "none"


@pytest.mark.parametrize("chosen", FROM_TOLERANCE, ids=lambda r: r.guard.basis)
def test_a_basis_on_the_width_refuses_a_single_limit_and_names_the_remedy(chosen):
    with pytest.raises(RuleError, match=r"needs both limits.*use basis 'U'") as caught:
        acceptance(UPPER, U, chosen)
    assert caught.value.field == "/guard/basis"


def test_a_single_limit_takes_the_normal_quantile_for_a_specific_risk():
    found = acceptance(UPPER, U, rule("specific_risk", target=Decimal("0.05")))
    # 1.644853626951473 (tables) times u = 0.25
    assert float(found.guard_upper) == pytest.approx(1.644853626951473 * 0.25, rel=1e-14)


def test_degrees_of_freedom_widen_the_band_of_a_specific_risk():
    found = acceptance(UPPER, U, rule("specific_risk", target=Decimal("0.05")), dof=Decimal(5))
    # t(0.95; 5) = 2.015 from tables, from memory
    assert float(found.guard_upper / Decimal("0.25")) == pytest.approx(2.015, abs=5e-4)


def test_an_unreachable_specific_risk_accepts_nothing_and_says_why():
    found = acceptance(TWO, Decimal(4), rule("specific_risk", target=Decimal("0.05")))
    assert found.empty
    assert (found.lower, found.upper) == (None, None)
    assert (found.guard_lower, found.guard_upper) == (1, 1)
    assert "greater specific risk than the target" in found.reason


def test_root_difference_of_squares_below_tur_1_accepts_nothing_and_says_why():
    found = acceptance(TWO, Decimal("1.01"), rule("rds"))
    assert found.empty
    assert (found.lower, found.guard_upper) == (None, 1)
    assert "ratio is below 1" in found.reason


def test_a_global_target_that_needs_no_guard_band_gets_none():
    found = acceptance(TWO, U, rule("global_risk", target=Decimal("0.5")), prior=PRIOR)
    assert (found.lower, found.upper) == (9, 11)


def test_a_global_target_needs_a_prior_with_a_spread():
    chosen = SOLVED[1]
    with pytest.raises(RuleError, match="needs a prior: give its mean and sd"):
        acceptance(TWO, U, chosen)
    with pytest.raises(RuleError, match="sd above 0"):
        acceptance(TWO, U, chosen, prior=Prior(Decimal(10), Decimal(0)))


@pytest.mark.parametrize("chosen", FROM_TOLERANCE[1:] + SOLVED, ids=lambda r: r.guard.basis)
def test_without_uncertainty_there_is_no_guard_band(chosen):
    found = acceptance(TWO, Decimal(0), chosen, prior=PRIOR)
    assert (found.lower, found.upper, found.empty) == (9, 11, False)


TABLE = rule(
    "tur_table",
    steps=(
        Step(Decimal(0), factor=Decimal("1.5")),
        Step(Decimal(2), factor=Decimal("0.5")),
        Step(Decimal(3), share=Decimal("0.125")),
        Step(Decimal(4), factor=Decimal(0)),
    ),
)


@pytest.mark.parametrize(
    ("U", "k", "w"),
    [
        # TUR = 2/(2 U) at k = 2; by hand.
        ("0.25", "2", "0"),  # 4, on the step
        ("0.2500000000000000000000000000001", "2", "0.125"),  # a hair below 4: 0.125 x 1
        ("0.32", "2", "0.125"),  # 3.125
        ("0.5", "2", "0.25"),  # 2, on the step: 0.5 x 0.5
        ("0.51", "2", "0.765"),  # 1.96: 1.5 x 0.51
        ("0.375", "3", "0"),  # U at 95 % is 0.25: 4
        ("0.255", "1", "0.3825"),  # U at 95 % is 0.51, w of U as stated
        ("0", "2", "0"),  # without uncertainty every step is reached
    ],
)
def test_a_table_of_guard_bands_has_the_last_step_whose_ratio_is_reached(U, k, w):
    for number in (Decimal, Fraction):
        found = acceptance(TWO, Decimal(U), TABLE, k=Decimal(k), number=number)
        assert found.guard_lower == found.guard_upper == number(w)
        assert (found.lower, found.upper) == (9 + number(w), 11 - number(w))
    with pytest.raises(RuleError, match="needs both limits"):
        acceptance(UPPER, Decimal(1), TABLE)


def test_limits_that_coincide_leave_the_managed_rule_no_acceptance():
    found = acceptance(Limits(Decimal(1), Decimal(1)), U, rule("managed"))
    assert found.empty
    assert found.guard_lower == Decimal("0.520")


def test_the_managed_rule_takes_the_uncertainty_at_95_percent():
    # The same u = 0.125 with k = 3 and k = 2, and as 95 % of t for 10 degrees of freedom.
    at_2 = acceptance(TWO, Decimal("0.25"), rule("managed")).upper
    assert acceptance(TWO, Decimal("0.375"), rule("managed"), k=Decimal(3)).upper == at_2
    # By hand: U_95 = 0.9 (TUR 1/0.9): M = 1.04 - exp(0.38 ln(1/0.9) - 0.54); w = 0.9 M.
    found = acceptance(TWO, Decimal("1.35"), rule("managed"), k=Decimal(3))
    by_hand = 0.9 * (1.04 - exp(0.38 * log(1 / 0.9) - 0.54))
    assert float(found.guard_upper) == pytest.approx(by_hand, rel=1e-13)


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ({"U": Decimal(-1)}, "/U"),
        ({"k": Decimal(0)}, "/k"),
        ({"dof": Decimal("0.5")}, "/dof"),
        ({"k": Decimal("Infinity")}, "/k"),
    ],
)
def test_a_number_that_cannot_be_used_is_named(arguments, field):
    given = {"U": U, **arguments}
    with pytest.raises(FieldError) as caught:
        acceptance(TWO, given.pop("U"), rule("none"), **given)
    assert caught.value.field == field


def test_a_prior_refuses_a_negative_spread():
    with pytest.raises(FieldError, match="negative") as caught:
        Prior(Decimal(0), Decimal(-1))
    assert caught.value.field == "/sd"
