"""What a rule means, in words, and by an example whose risk a normal distribution gives."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest
from scipy.stats import norm

from api.rules.rule import BUILT_IN, Guard, Rule
from api.services.decisions.rule_words import example, explanation, rule_answer

RULES = {
    **BUILT_IN,
    "half": Rule("half", guard=Guard("U", factor=Decimal("0.5"))),
    "relaxed": Rule("relaxed", guard=Guard("U", factor=Decimal("-0.5"))),
    "fixed": Rule("fixed", guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.3")))),
    "share": Rule("share", guard=Guard("tolerance", share=Decimal("0.2"))),
    "rds": Rule("rds", guard=Guard("rds")),
    "managed": Rule("managed", guard=Guard("managed")),
    "specific": Rule("specific", guard=Guard("specific_risk", target=Decimal("0.025"))),
    "global": Rule("global", guard=Guard("global_risk", target=Decimal("0.002"))),
}


@pytest.mark.parametrize("name", RULES)
def test_the_worst_risk_of_the_example_is_that_of_a_result_on_an_acceptance_limit(name):
    found = example(RULES[name])
    assert (found["limits"], found["U"], found["k"]) == ({"lower": "-1", "upper": "1"}, "0.2", "2")
    # u = 0.1 about a result x: outside with P(X < -1) + P(X > 1)
    risks = [
        norm.cdf(-1, x, 0.1) + norm.sf(1, x, 0.1)
        for x in (float(found["acceptance"][side]) for side in ("lower", "upper"))
    ]
    assert found["worst_specific_risk"] == pytest.approx(max(risks), rel=1e-9)
    json.dumps(found, allow_nan=False)


@pytest.mark.parametrize(
    ("name", "upper", "risk"),
    [
        ("simple", "1", 0.5),
        ("guard_U", "0.8", 0.022750131948),  # P(Z > 2)
        ("half", "0.90", 0.158655253931),  # P(Z > 1)
        ("relaxed", "1.10", 0.841344746069),
        # w = 0.1 below and 0.3 above: the lower limit is the worse
        ("fixed", "0.7", 0.158655253931),
    ],
)
def test_the_example_by_hand(name, upper, risk):
    found = example(RULES[name])
    assert Decimal(found["acceptance"]["upper"]) == Decimal(upper)
    assert found["worst_specific_risk"] == pytest.approx(risk, abs=1e-11)


def test_a_target_of_the_specific_risk_is_what_the_worst_result_has():
    assert example(RULES["specific"])["worst_specific_risk"] == pytest.approx(0.025, rel=1e-9)


def test_a_prior_is_said_only_where_the_rule_needs_one():
    assert example(RULES["global"])["prior"] == {"mean": "0", "sd": "0.5"}
    assert not any("prior" in example(rule) for name, rule in RULES.items() if name != "global")


def test_a_rule_that_accepts_nothing_of_the_example_has_no_risk():
    # w = 6 x 0.2 from both limits of -1 and 1
    found = example(Rule("much", guard=Guard("U", factor=Decimal(6))))
    assert found["acceptance"]["empty"] is True
    assert found["worst_specific_risk"] is None


@pytest.mark.parametrize("name", RULES)
def test_an_explanation_is_whole_sentences_and_says_what_an_edge_belongs_to(name):
    words = explanation(RULES[name])
    assert words[0].isupper()
    assert words.endswith(".")
    edge = "An edge belongs to the better zone" if RULES[name].zones == 4 else "or on one passes"
    assert edge in words


def test_relaxed_acceptance_and_a_formula_from_memory_are_named_as_such():
    said = {name for name in RULES if "relaxed acceptance" in explanation(RULES[name])}
    assert said == {"relaxed"}
    assert "from memory, verify" in explanation(RULES["managed"])
    needing = {name for name in RULES if "both limits are needed" in explanation(RULES[name])}
    assert needing == {"share", "rds", "managed"}


def test_no_two_rules_are_explained_alike():
    assert len({explanation(rule) for rule in RULES.values()}) == len(RULES)


def test_an_answer_says_whether_a_rule_is_built_in_and_which_versions_there_are():
    built_in, ours = rule_answer(RULES["simple"]), rule_answer(RULES["half"], [1, 2])
    assert (built_in["built_in"], built_in["id"], "versions" in built_in) == (True, "simple", False)
    assert (ours["built_in"], ours["versions"]) == (False, [1, 2])
    assert ours["explanation"] == explanation(RULES["half"])
    assert ours["guard"] == {"basis": "U", "factor": "0.5"}
