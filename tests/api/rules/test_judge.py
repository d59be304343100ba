"""The quick judge gives the verdict that a single decision gives, for every basis and zone scheme.

The reference is api.rules.acceptance and decide.verdict, whose numbers are checked against
published values in test_published.py.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.acceptance import acceptance
from api.rules.decide import reachable, verdict
from api.rules.judge import Judge
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule, RuleError

# Coarse steps, so that results on a limit are frequent.
numbers = st.integers(-40, 40).map(lambda n: Decimal(n) / 8)
uncertainties = st.integers(0, 12).map(lambda n: Decimal(n) / 8)
limits = st.one_of(
    st.tuples(numbers, numbers).map(sorted),
    st.tuples(numbers, st.none()),
    st.tuples(st.none(), numbers),
)
rules = st.one_of(
    st.sampled_from(list(BUILT_IN.values())),
    st.builds(
        lambda guard, zones: Rule(guard=guard, zones=zones),
        st.one_of(
            st.integers(0, 12).map(lambda n: Guard("U", factor=Decimal(n) / 4)),
            uncertainties.map(lambda w: Guard("absolute", width=(w, w))),
            st.integers(0, 4).map(lambda n: Guard("tolerance", share=Decimal(n) / 8)),
            st.sampled_from([Guard("none"), Guard("rds"), Guard("managed")]),
        ),
        st.sampled_from([2, 4]),
    ),
)


def ruling(rule, U, lower, upper):
    return Judge(rule).ruling(U, lower, upper, Decimal(2))


@given(numbers, uncertainties, limits, rules, st.booleans())
def test_the_quick_way_and_the_single_decision_agree(value, U, edges, rule, as_fraction) -> None:
    lower, upper = edges
    try:
        accepted = acceptance(Limits(lower, upper), U, rule)
    except RuleError:
        expected = None
    else:
        expected = verdict(value, Limits(lower, upper), accepted, rule.zones)
    given_value = Fraction(value) if as_fraction else value
    assert ruling(rule, U, lower, upper).verdict(given_value) == expected


@given(numbers, numbers, uncertainties, limits, rules)
def test_every_verdict_between_two_values_is_named(one, other, U, edges, rule) -> None:
    lower, upper = edges
    judged = ruling(rule, U, lower, upper)
    least, most = min(one, other), max(one, other)
    found = judged.verdicts(least, most)
    steps = [least + (most - least) * n / 16 for n in range(17)]
    seen = {judged.verdict(step) for step in steps}
    assert seen <= (set(found) or {None})


@given(numbers, numbers, uncertainties, limits, rules)
def test_the_quick_way_names_the_verdicts_that_breakpoints_show(one, other, U, edges, rule) -> None:
    allowed = Limits(*edges)
    least, most = min(one, other), max(one, other)
    try:
        expected = reachable(least, most, allowed, acceptance(allowed, U, rule), rule.zones)
    except RuleError:
        expected = ()
    assert ruling(rule, U, *edges).verdicts(least, most) == tuple(expected)


@pytest.mark.parametrize("rule", ["guard_U", "four_state_U"])
def test_without_U_a_rule_that_needs_it_says_nothing(rule: str) -> None:
    assert ruling(BUILT_IN[rule], None, None, Decimal(2)) is None


def test_simple_acceptance_needs_no_U() -> None:
    assert ruling(BUILT_IN["simple"], None, None, Decimal(2)).verdict(Decimal(2)) == "pass"


def test_without_limits_nothing_is_stated() -> None:
    assert ruling(BUILT_IN["simple"], Decimal(1), None, None) is None
