"""The statement names results, specification, outcome, rule, guard band, U and risk."""

from decimal import Decimal
from fractions import Fraction

import pytest

from api.rules.decide import Prior, decide
from api.rules.guard import Step
from api.rules.limits import Limits
from api.rules.rule import BASES, BUILT_IN, Guard, Rule
from api.rules.wording import describe_guard

TWO = Limits(Decimal(9), Decimal(11))


def sentence(value, rule, limits=TWO, U="0.2", **words):
    return decide(Decimal(value), Decimal(U), limits, rule, unit="kN", **words).statement


def test_the_statement_of_a_guarded_pass_is_complete():
    text = sentence(
        "10.1",
        BUILT_IN["guard_U"],
        results="readings from 1 kN to 10 kN, as left",
        specification="ABC-7, edition 3",
    )
    assert text == (
        "Statement of conformity for readings from 1 kN to 10 kN, as left: "
        "the specification ABC-7, edition 3 (from 9 to 11 kN) is met. "
        "Decision rule guard_U, version 1: guard band w = U (w = 0.2 kN), "
        "accepted from 9.2 to 10.8 kN. "
        "Expanded uncertainty U = 0.2 kN, k = 2. "
        "Specific risk of false acceptance: below 0.0001 %."
    )


def test_a_guarded_fail_says_which_limits_it_missed():
    text = sentence("10.9", BUILT_IN["guard_U"])
    assert "is not met: the result lies outside the acceptance limits." in text
    assert "Specific risk of false rejection: 84 %." in text


def test_a_simple_fail_is_plain():
    assert "(from 9 to 11 kN) is not met. " in sentence("11.1", BUILT_IN["simple"])


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("10", "is met."),
        ("10.9", "is met on condition"),
        ("11.1", "is not met on condition"),
        ("12", "is not met."),
    ],
)
def test_each_of_four_zones_has_its_words(value, words):
    assert words in sentence(value, BUILT_IN["four_state_U"])


def test_a_prescribed_rule_needs_no_risk():
    # ISO/IEC 17025:2017, 7.8.6.1, from memory
    rule = Rule("class", prescribed_by="the standard of the machine", agreed_with="customer 7")
    text = sentence("10", rule)
    assert "prescribed by the standard of the machine." in text
    assert "agreed with customer 7" in text
    assert "isk of false" not in text


def test_a_single_limit_is_named_alone():
    assert "(at most 11 kN)" in sentence("10", BUILT_IN["simple"], Limits(None, Decimal(11)))
    assert "(at least 9 kN)" in sentence("10", BUILT_IN["simple"], Limits(Decimal(9), None))


def test_two_guard_bands_are_both_named():
    rule = Rule(guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.3"))))
    assert "w = 0.1 kN below and 0.3 kN above" in sentence("10", rule)


def test_no_acceptance_is_explained():
    text = sentence("10", BUILT_IN["guard_U"], U="1.5")
    assert "no value is accepted" in text
    assert "Note: the guard band is wider than half the tolerance interval" in text


def test_solved_limits_are_rounded_inwards_and_U_upwards():
    text = sentence("10", Rule(guard=Guard("managed")), U="0.5001")
    # M = 0.2817 at TUR 2, so w = 0.1409.
    assert "w = 0.1408" in text
    assert "U = 0.51 kN" in text
    low, high = text.split("accepted from ")[1].split(" kN")[0].split(" to ")
    exact = decide(Decimal(10), Decimal("0.5001"), TWO, Rule(guard=Guard("managed"))).acceptance
    assert exact.lower < Decimal(low) < exact.lower + Decimal("1e-5")
    assert exact.upper - Decimal("1e-5") < Decimal(high) < exact.upper


def test_fractions_are_worded_like_decimals():
    limits = Limits(None, Fraction(1, 3))
    found = decide(Fraction(1, 4), Fraction(1, 30), limits, BUILT_IN["guard_U"], unit="N")
    assert "(at most 0.333333333333 N) is met." in found.statement
    assert "accepted at most 0.3 N" in found.statement


def test_every_basis_has_words():
    parameters = {
        "U": {"factor": Decimal(1)},
        "absolute": {"width": (Decimal(1), Decimal(1))},
        "tolerance": {"share": Decimal("0.2")},
        "specific_risk": {"target": Decimal("0.02")},
        "global_risk": {"target": Decimal("0.02")},
        "tur_table": {"steps": (Step(Decimal(0), factor=Decimal(1)),)},
    }
    words = {describe_guard(Guard(basis, **parameters.get(basis, {}))) for basis in BASES}
    assert len(words) == len(BASES)


def test_the_global_target_is_named():
    rule = Rule(guard=Guard("global_risk", target=Decimal("0.002")))
    text = sentence("10", rule, prior=Prior(Decimal(10), Decimal("0.5")))
    assert "global consumer's risk of 0.002 at most" in text


def test_degrees_of_freedom_and_a_prior_that_the_guard_band_rests_on_are_named():
    rule = Rule(guard=Guard("global_risk", target=Decimal("0.01")))
    limits, prior = Limits(Decimal(9), Decimal(11)), Prior(Decimal(10), Decimal("0.5"))
    found = decide(Decimal(10), Decimal("0.5"), limits, rule, prior=prior, dof=Decimal(7), unit="N")
    assert "k = 2 for 7 degrees of freedom." in found.statement
    assert "mean 10 N and the standard deviation 0.5 N" in found.statement
    other = decide(Decimal(10), Decimal("0.5"), limits, BUILT_IN["simple"], prior=prior)
    assert "Items are taken" not in other.statement
