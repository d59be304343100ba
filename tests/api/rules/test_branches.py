"""Which branch decides just inside and just outside a ratio, by arithmetic done by hand.

TUR = (T_U - T_L) / (2 U_95) and T = (T_U - T_L) / 2 as in DESIGN of the API (see
`api.rules.precondition`); JCGM 106:2012, 7.6 and ILAC-G8:09/2019 for the ratio, from memory.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.acceptance import acceptance
from api.rules.branches import branches, choose, holds
from api.rules.decide import decide
from api.rules.exact import FieldError
from api.rules.limits import Limits
from api.rules.precondition import Precondition
from api.rules.rule import RuleError, rule_from_mapping

D = Decimal
TUR = rule_from_mapping(
    {"guard": {"basis": "none"}, "precondition": {"least_tur": "4"}, "otherwise": "guard_U"}
)
THIRD = rule_from_mapping(
    {"guard": {"basis": "none"}, "precondition": {"greatest_U_over_T": "1/3"}}
)
# Simple while TUR >= 4, guarded down to TUR 2, then nothing.
BOTH = rule_from_mapping(
    {
        "id": "steps",
        "guard": {"basis": "none"},
        "precondition": {"least_tur": "4"},
        "otherwise": {
            "guard": {"basis": "U", "factor": "1"},
            "zones": 4,
            "precondition": {"greatest_U_over_T": "0.5"},
            "otherwise": "no_statement",
        },
    }
)
TWO = Limits(D(9), D(11))


@pytest.mark.parametrize(
    ("U", "k", "dof", "number"),
    [
        ("0.25", "2", None, 1),  # 2 / (2 x 0.25) = 4, on the limit: it holds
        ("0.2500000000000000000000001", "2", None, 2),  # a hair below 4
        ("0.2499999999999999999999999", "2", None, 1),
        # k = 1: U at 95 % is 2 x 0.125 = 0.25, TUR 4; with 0.126 it is 0.252, TUR 3.968
        ("0.125", "1", None, 1),
        ("0.126", "1", None, 2),
        # k = 3: U at 95 % is 2 x 0.375 / 3 = 0.25
        ("0.375", "3", None, 1),
        ("0.376", "3", None, 2),
        # t(0.975; 10) = 2.228 (any table): k = 2.23 is the 95 % factor, U_95 is U itself, TUR 4 ...
        ("0.25", "2.23", "10", 1),
        ("0.251", "2.23", "10", 2),
        # ... where without degrees of freedom U_95 = 2 x 0.278 / 2.23 = 0.2493, TUR 4.01
        ("0.278", "2.23", None, 1),
        ("0.278", "2.23", "10", 2),
    ],
)
def test_the_least_tur_is_that_of_U_at_95_percent(U, k, dof, number):
    found = choose(TUR, TWO, D(U), k=D(k), dof=None if dof is None else D(dof))
    assert found.number == number
    assert found.rule.guard.basis == ("none" if number == 1 else "U")


@pytest.mark.parametrize(
    ("lower", "upper", "U", "k", "verdict"),
    [
        # T = (0.3 + 0.3)/2 = 0.3: a third of it is 0.1 exactly, which no float is
        ("-0.3", "0.3", "0.1", "2", "pass"),
        ("-0.3", "0.3", "0.1000000000000000000001", "2", "no_statement"),
        # U as it stands, whatever its k
        ("-0.3", "0.3", "0.1", "3", "pass"),
        # limits that are not symmetric: T = (0.5 + 0.1)/2 = 0.3
        ("-0.1", "0.5", "0.1", "2", "pass"),
        ("-0.1", "0.5", "0.11", "2", "no_statement"),
    ],
)
def test_U_over_T_is_U_as_stated_over_half_the_interval(lower, upper, U, k, verdict):
    found = decide(D("0.05"), D(U), Limits(D(lower), D(upper)), THIRD, k=D(k))
    assert found.verdict == verdict


def test_the_first_precondition_that_holds_decides_and_says_why():
    # TUR = 2 / (2 U): 5, 2.5 and 1.25 and U/T = U: 0.2, 0.4, 0.8
    told = [(b.number, b.reason) for b in (choose(BOTH, TWO, D(U)) for U in ("0.2", "0.4", "0.8"))]
    assert told == [
        (1, "TUR 5 is at least 4"),
        (2, "TUR 2.5 is below 4 and U/T 0.4 is at most 0.5"),
        (3, "TUR 1.25 is below 4 and U/T 0.8 is above 0.5"),
    ]
    assert [rule and (rule.guard.basis, rule.zones) for rule in branches(BOTH)] == [
        ("none", 2),
        ("U", 4),
        None,
    ]


@pytest.mark.parametrize("places", [3, 9, 49, 50, 60, 300, 990])
def test_a_reason_has_as_many_digits_as_tell_the_ratio_from_its_limit(places):
    # U = 0.25 (1 + 10^-places): TUR is below 4 by 4 parts in 10^places.
    U = D("0.25") * (1 + D(1).scaleb(-places)) if places < 28 else D(f"0.25{'0' * (places - 2)}25")
    found = choose(TUR, TWO, U)
    said = found.reason.removeprefix("TUR ").removesuffix(" is below 4")
    assert found.number == 2
    assert 0 < 4 - Fraction(said) < Fraction(8, 10**places)


def test_a_decision_follows_its_branch():
    # 10.8 under simple acceptance; 0.4 below 11 - 0.4 = 10.6: conditional; nothing at all
    found = [decide(D("10.8"), D(U), TWO, BOTH) for U in ("0.2", "0.4", "0.8")]
    assert [one.verdict for one in found] == ["pass", "conditional_pass", "no_statement"]
    silent = found[2]
    assert silent.acceptance.empty
    assert (silent.acceptance.lower, silent.acceptance.upper) == (None, None)
    assert silent.acceptance.reason == (
        "no statement is made: TUR 1.25 is below 4 and U/T 0.8 is above 0.5"
    )
    # What is known of the result does not depend on the rule.
    simple = decide(D("10.8"), D("0.8"), TWO, rule_from_mapping({"guard": {"basis": "none"}}))
    assert silent.specific_risk == simple.specific_risk
    assert silent.tur == simple.tur == D("1.25")


def test_the_statement_names_the_branch_or_that_there_is_none():
    simple, guarded, silent = (
        decide(D("10.8"), D(U), TWO, BOTH, unit="kN", results="point 3").statement
        for U in ("0.2", "0.4", "0.8")
    )
    assert "Decision rule steps, version 1, branch 1 (TUR 5 is at least 4): simple" in simple
    assert "branch 2 (TUR 2.5 is below 4 and U/T 0.4 is at most 0.5): guard band w = U" in guarded
    assert silent.startswith(
        "No statement of conformity with the specification (from 9 to 11 kN) is made for point 3."
    )
    assert "else no statement. Here TUR 1.25 is below 4 and U/T 0.8 is above 0.5." in silent
    assert "Specific risk" not in silent


def test_a_ratio_in_words_never_contradicts_the_comparison():
    # 2 / (2 x 0.25000001) = 3.99999984...: four digits would read "4 is below 4"
    assert choose(TUR, TWO, D("0.25000001")).reason == "TUR 3.9999998 is below 4"
    assert choose(TUR, TWO, D("0.24999999")).reason == "TUR 4 is at least 4"


@pytest.mark.parametrize("rule", [TUR, THIRD])
def test_without_uncertainty_every_precondition_holds(rule):
    found = choose(rule, TWO, D(0))
    assert found.number == 1
    point = choose(rule, Limits(D(5), D(5)), D(0))
    assert point.number == 1


def test_a_tolerance_of_zero_holds_no_uncertainty():
    point = Limits(D(5), D(5))
    assert choose(TUR, point, D("0.1")).reason == "TUR 0 is below 4"
    found = choose(THIRD, point, D("0.1"))
    assert (found.rule, found.reason) == (
        None,
        "U/T has no bound, because the tolerance interval is 0 wide",
    )


@pytest.mark.parametrize("rule", [TUR, THIRD])
@pytest.mark.parametrize("limits", [Limits(None, D(11)), Limits(D(9), None)])
def test_one_limit_is_refused_with_a_remedy(rule, limits):
    with pytest.raises(RuleError, match="needs both limits, and one is absent; give the other"):
        decide(D(10), D("0.1"), limits, rule)


@pytest.mark.parametrize(
    ("U", "k", "dof", "field"),
    [("-1", "2", None, "/U"), ("1", "0", None, "/k"), ("1", "2", "0.5", "/dof")],
)
def test_an_uncertainty_that_cannot_be_used_is_refused(U, k, dof, field):
    with pytest.raises(FieldError) as refused:
        choose(TUR, TWO, D(U), k=D(k), dof=None if dof is None else D(dof))
    assert refused.value.field == field


def test_acceptance_limits_belong_to_a_branch():
    with pytest.raises(ValueError, match="choose its branch"):
        acceptance(TWO, D("0.1"), TUR)


@given(st.fractions("0.01", 20), st.fractions(0, 5), st.fractions("0.1", 4), st.fractions("0.1", 9))
def test_a_product_says_what_the_quotient_says(span, U, k, limit):
    # The quotients themselves, where they exist, in exact fractions.
    limits = Limits(Fraction(3), 3 + span)
    if U:
        tur = span / (2 * (2 * U / k))
        assert holds(Precondition("least_tur", limit), limits, U, k) == (tur >= limit)
    over = U / (span / 2)
    assert holds(Precondition("greatest_U_over_T", limit), limits, U, k) == (over <= limit)
