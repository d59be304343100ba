"""Zones of a value and of an interval of values, on and off the edges."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.acceptance import Acceptance, acceptance
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule
from api.rules.verdicts import FAILING, VERDICTS, ZONES, breakpoints, reachable, verdict, worst

TWO = Limits(Decimal(9), Decimal(11))
U = Decimal("0.2")

numbers = st.decimals(-100, 100, places=3)
widths = st.decimals(0, 100, places=3)
uncertainties = st.decimals(0, 20, places=3)
RULES = [
    Rule(guard=Guard("U", factor=Decimal(1))),
    Rule(guard=Guard("U", factor=Decimal(1)), zones=4),
    Rule(guard=Guard("tolerance", share=Decimal("0.2"))),
    Rule(guard=Guard("managed"), zones=4),
    Rule(guard=Guard("specific_risk", target=Decimal("0.025"))),
]


def test_crossed_acceptance_limits_never_accept_what_lies_between_them():
    crossed = Acceptance(Decimal("10.5"), Decimal("9.5"), Decimal("1.5"), Decimal("1.5"), True, "x")
    assert verdict(Decimal(10), TWO, crossed, 2) == "fail"


def test_the_worst_verdict_is_the_last_in_order():
    assert worst(VERDICTS) == "fail"
    assert worst(["conditional_pass", "pass"]) == "conditional_pass"


@pytest.mark.parametrize(
    ("together", "expected"),
    [
        (["pass", "no_statement"], "no_statement"),
        (["conditional_pass", "no_statement"], "no_statement"),
        # A nonconformity that was stated is not hidden by what is not stated elsewhere.
        (["no_statement", "conditional_fail", "pass"], "conditional_fail"),
        (["fail", "no_statement"], "fail"),
        (["no_statement"], "no_statement"),
    ],
)
def test_with_one_result_unstated_conformity_of_all_is_not_stated(together, expected):
    # ISO/IEC 17025:2017, 7.8.6.2 (read in public summaries): a statement names what it covers.
    assert worst(together) == expected


def test_a_missing_statement_is_no_failure():
    assert FAILING == ("conditional_fail", "fail")


def test_a_one_sided_limit_has_edges_on_one_side_only():
    limits = Limits(Decimal(9), None)
    found = acceptance(limits, U, BUILT_IN["four_state_U"])
    assert breakpoints(limits, found, 4) == (Decimal("8.8"), Decimal(9), Decimal("9.2"))
    assert breakpoints(limits, found, 2) == (Decimal("9.2"),)
    assert verdict(Decimal(10**6), limits, found, 4) == "pass"


def test_every_verdict_over_an_interval_is_listed_best_first():
    found = acceptance(TWO, U, BUILT_IN["four_state_U"])
    assert reachable(Decimal(10), Decimal(12), TWO, found, 4) == ZONES
    assert reachable(Decimal(8), Decimal("8.8"), TWO, found, 4) == ("conditional_fail", "fail")
    assert reachable(Decimal("11.1"), Decimal("11.1"), TWO, found, 4) == ("conditional_fail",)


def test_a_pass_in_the_middle_of_an_interval_is_not_overlooked():
    found = acceptance(TWO, Decimal(1), BUILT_IN["guard_U"])
    assert found.lower == found.upper
    assert reachable(Fraction(0), Fraction(100, 3), TWO, found, 2) == ("pass", "fail")


def test_an_interval_the_wrong_way_round_is_refused():
    with pytest.raises(ValueError, match="lower must not be above upper"):
        reachable(Decimal(2), Decimal(1), TWO, acceptance(TWO, U, BUILT_IN["simple"]), 2)


@settings(deadline=None)
@given(
    numbers,
    widths,
    uncertainties,
    st.tuples(numbers, numbers),
    st.integers(0, 20),
    st.sampled_from(RULES),
)
def test_reachable_holds_the_verdict_of_every_value_inside(lower, width, U, ends, twentieth, rule):
    limits = Limits(lower, lower + width)
    found = acceptance(limits, U, rule)
    low, high = sorted(ends)
    value = low + (high - low) * twentieth / 20
    assert verdict(value, limits, found, rule.zones) in reachable(
        low, high, limits, found, rule.zones
    )
