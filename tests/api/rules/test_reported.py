"""Deciding on reported numbers: the rounding method beside the absolute one, by hand.

ASTM E29 (from memory) tells the two methods apart; the digits of U are those of ILAC-P14:09/2020
(two at most, read in a secondary source).
"""

from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.branches import choose
from api.rules.decide import decide
from api.rules.exact import reported_uncertainty, reported_value
from api.rules.judge import Judge
from api.rules.limits import Limits
from api.rules.reported import as_reported, rounded_to
from api.rules.rule import Guard, Rule, RuleError, rule_from_mapping
from api.rules.vector import decide_columns, decide_rows

D = Decimal
UPPER = Limits(None, D("1.20"))
GUARD = {"basis": "U", "factor": "1"}
SIMPLE = rule_from_mapping({"guard": {"basis": "none"}, "decides_on": "reported"})
GUARDED = rule_from_mapping({"guard": GUARD, "decides_on": "reported", "zones": 4})
STEPS = rule_from_mapping(
    {
        "guard": {"basis": "none"},
        "decides_on": "reported",
        "precondition": {"greatest_U_over_T": "0.25"},
        "otherwise": {"guard": GUARD},
    }
)
places = st.decimals(-5, 5, places=5)
sizes = st.decimals("0.0001", 2, places=6)


@pytest.mark.parametrize(
    ("value", "U", "rule", "verdict"),
    [
        ("1.204", "0.02", "simple", "fail"),  # the absolute method
        ("1.204", "0.020", SIMPLE, "pass"),  # 1.204 to the place of 0.020
        ("1.204", "0.20", SIMPLE, "pass"),  # 1.20
        ("1.2051", "0.20", SIMPLE, "fail"),  # 1.21
        ("1.205", "0.20", SIMPLE, "pass"),  # half to even: 1.20
        # U 0.1004 is reported as 0.11: 1.0953 becomes 1.10, beyond 1.20 - 0.11 = 1.09.
        ("1.0953", "0.1004", GUARDED, "conditional_pass"),
        ("1.0949", "0.1004", GUARDED, "pass"),
    ],
)
def test_a_rule_may_decide_on_what_is_reported(value, U, rule, verdict):
    rule = Rule("simple") if rule == "simple" else rule
    if U == "0.020":  # three places: 1.204 stays, and fails
        assert decide(D(value), D(U), UPPER, rule).verdict == "fail"
        return
    found = decide(D(value), D(U), UPPER, rule)
    assert found.verdict == verdict
    assert (found.value, found.U) == (D(value), D(U))  # both are kept


def test_everything_of_a_decision_is_of_the_reported_numbers():
    limits = Limits(D(9), D(11))
    found = decide(D("10.8449"), D("0.1504"), limits, GUARDED)
    same = decide(D("10.84"), D("0.16"), limits, Rule(guard=Guard("U", factor=D(1)), zones=4))
    for name in ("acceptance", "specific_risk", "tur", "verdict", "conformance_probability"):
        assert getattr(found, name) == getattr(same, name)
    assert "decided on the result and U as they are reported" in found.statement


def test_a_precondition_asks_for_the_reported_uncertainty():
    # U/T of 0.2451 would hold; 0.25 is reported for it, and holds; 0.2501 is reported as 0.26.
    limits = Limits(D(-1), D(1))
    assert choose(STEPS, limits, D("0.2451")).number == 1
    second = choose(STEPS, limits, D("0.2501"))
    assert (second.number, second.reason) == (2, "U/T 0.26 is above 0.25")
    assert second.rule.decides_on == "reported"


def test_a_fallback_cannot_round_where_its_rule_does_not():
    asked = {"guard": {"basis": "none"}, "precondition": {"least_tur": "4"}}
    with pytest.raises(RuleError, match="same decides_on") as caught:
        rule_from_mapping(asked | {"otherwise": {"guard": GUARD, "decides_on": "reported"}})
    assert caught.value.field == "/otherwise"
    with pytest.raises(RuleError, match="give unrounded or reported") as caught:
        rule_from_mapping({"guard": GUARD, "decides_on": "E29"})
    assert caught.value.field == "/decides_on"
    assert rule_from_mapping(STEPS.to_mapping()) == STEPS


@given(places, st.integers(-4, 2))
def test_decimals_and_fractions_round_alike(value, place):
    expected = value.quantize(D(1).scaleb(place), context=Context(50, ROUND_HALF_EVEN))
    assert rounded_to(value, place) == rounded_to(Fraction(value), place) == expected


@given(places, sizes)
def test_what_is_decided_on_is_what_is_answered_as_reported_and_rounds_to_itself(value, U):
    found = as_reported(value, U)
    assert found == (reported_value(value, U), reported_uncertainty(U))
    assert as_reported(*found) == found


@given(
    st.lists(st.tuples(places, sizes), min_size=1, max_size=8),
    st.sampled_from([SIMPLE, GUARDED, STEPS]),
)
def test_columns_and_recalls_decide_like_single_results(pairs, rule):
    limits = Limits(D(-1), D("1.20"))
    single = [decide(value, U, limits, rule) for value, U in pairs]
    texts = {
        "value": [str(value) for value, _ in pairs],
        "U": [str(U) for _, U in pairs],
        "lower": ["-1"] * len(pairs),
        "upper": ["1.20"] * len(pairs),
    }
    found, errors = decide_rows(texts, rule)
    names = ("pass", "conditional_pass", "conditional_fail", "fail")
    assert not errors
    assert [names[code] for code in found["verdict"]] == [one.verdict for one in single]
    assert found["specific_risk"].tolist() == [one.specific_risk["consumer"] for one in single]
    judge = Judge(rule)
    for (value, U), one in zip(pairs, single, strict=True):
        ruling = judge.ruling(U, limits.lower, limits.upper, D(2))
        assert ruling.verdict(value) == ruling.verdict(Fraction(value)) == one.verdict


@given(places, places, sizes, st.sampled_from([SIMPLE, GUARDED]))
def test_the_verdicts_between_two_values_are_those_of_the_rounded_ones_between(one, other, U, rule):
    least, most = sorted((one, other))
    ruling = Judge(rule).ruling(U, D(-1), D("1.20"), D(2))
    found = ruling.verdicts(least, most)
    step = (most - least) / 400
    seen = {ruling.verdict(least + n * step) for n in range(401)}
    assert seen <= set(found)
    # No verdict that only an unrounded value could have.
    first, last = (rounded_to(end, ruling.place) for end in (least, most))
    if (last - first) / D(1).scaleb(ruling.place) < 300:
        lattice = D(1).scaleb(ruling.place)
        count = int((last - first) / lattice)
        assert {ruling.verdict(first + n * lattice) for n in range(count + 1)} == set(found)


def test_floats_alone_do_not_decide_on_reported_numbers():
    found = decide_columns([1.0], 0.1, 2.0, -1.0, 1.2, SIMPLE)
    assert found["verdict"].tolist() == [-1]
    assert found["exact_needed"].tolist() == [True]


def test_without_an_uncertainty_nothing_is_rounded():
    assert decide(D("1.2000001"), D(0), UPPER, SIMPLE).verdict == "fail"
    assert Judge(SIMPLE).ruling(None, None, D(1), D(2)) is None
