"""The statement names results, specification, outcome, rule, guard band, U and risk."""

import re
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.decide import Prior, acceptance, breakpoints, decide
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
    # TUR 1.9996: M = 1.04 - exp(0.38 ln 1.9996 - 0.54) = 0.28170, so w = 0.14088, rounded up
    # two places below those of U.
    assert "(w = 0.1409 kN)" in text
    assert "U = 0.51 kN" in text
    low, high = text.split("accepted from ")[1].split(" kN")[0].split(" to ")
    exact = decide(Decimal(10), Decimal("0.5001"), TWO, Rule(guard=Guard("managed"))).acceptance
    assert exact.lower < Decimal(low) < exact.lower + Decimal("1e-4")
    assert exact.upper - Decimal("1e-4") < Decimal(high) < exact.upper


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


def test_limits_are_rounded_by_U_and_not_by_a_count_of_digits():
    # A machine of 1 MN: by hand w = 9.869... N, so the limits lie 20 - 9.87 N from the middle.
    rule = Rule(guard=Guard("specific_risk", target=Decimal("0.05")))
    limits = Limits(Decimal(999980), Decimal(1000020))
    text = sentence("1000010.1", rule, limits, U="12")
    assert "is met." in text
    assert "(w = 9.87 kN), accepted from 999989.87 to 1000010.13 kN" in text
    # The range holds the result that passed: 1000010.1305 lies above 1000010.13.
    assert "to 1000010.1308 kN" in sentence("1000010.1305", rule, limits, U="12")


def test_a_narrow_range_is_not_crossed_over():
    # TUR 1.00000001: acceptance by root difference of squares leaves next to nothing.
    limits = Limits(Decimal("-1.00000001"), Decimal("1.00000001"))
    text = sentence("0", Rule(guard=Guard("rds")), limits, U="1")
    assert "accepted from 0.000 to 0.000 kN" in text
    # sqrt(1.00000001^2 - 1) = 0.000141421...
    text = sentence("0.00014", Rule(guard=Guard("rds")), limits, U="1")
    assert "accepted from -0.00014 to 0.00014 kN" in text
    # Around another middle no value of three places lies between the limits.
    limits = Limits(Decimal("-0.99950001"), Decimal("1.00050001"))
    text = sentence("0", Rule(guard=Guard("rds")), limits, U="1")
    assert "accepted from 0.0004 to 0.0006 kN" in text


def test_U_is_named_as_it_decided_where_rounding_changes_it():
    assert "U = 0.11 kN (rounded up from 0.1004 kN), k" in sentence(
        "10", BUILT_IN["simple"], U="0.1004"
    )
    # Noise of a float is no digit of an uncertainty.
    assert "U = 0.020 kN, k" in sentence("10", BUILT_IN["simple"], U="0.020000000000000004")
    assert "U = 12 kN, k" in sentence("10", BUILT_IN["simple"], U="12")


def test_a_risk_near_certainty_is_no_exponent():
    text = sentence("10", BUILT_IN["guard_U"], U="1.5")
    # Two tails at 1 / 0.75: 2 Phi(-4/3) = 0.18242 (tables)
    assert "false rejection: 82 %" in text
    nothing = Rule(guard=Guard("tolerance", share=Decimal(2)))
    # 2 Phi(-1 / 0.3) = 0.000858 (tables: Phi(3.33) = 0.99957)
    assert "false rejection: 99.914 %" in sentence("10", nothing, U="0.6")
    assert "above 99.9999 %" in sentence("10", nothing, U="0.1")


def test_where_nothing_is_accepted_the_result_is_not_said_to_be_outside():
    text = sentence("10", Rule(guard=Guard("tolerance", share=Decimal("1.5"))))
    assert "is not met by the decision rule, which accepts no result with this uncertainty." in text


figures = st.decimals("-1000", "1000", places=9)


@given(
    figures,
    st.decimals("0.000001", 30, places=9),
    st.decimals("0.000001", 40, places=6),
    st.sampled_from(["U", "rds", "managed", "specific_risk", "tolerance"]),
    st.sampled_from([2, 4]),
    st.sampled_from([Decimal(x) for x in ("0", "1E-30", "-1E-30", "1E-12", "-1E-12", "0.001")]),
    st.integers(0, 5),
)
@settings(deadline=None, max_examples=300)
def test_no_sentence_contradicts_its_verdict(lower, width, U, basis, zones, offset, edge):
    """The printed figures, read as a customer would read them, give the verdict that is stated."""
    more = {"U": {"factor": Decimal("0.83")}, "specific_risk": {"target": Decimal("0.05")}}
    guard = Guard(
        basis, **more.get(basis, {"share": Decimal("0.3")} if basis == "tolerance" else {})
    )
    rule, limits = Rule(guard=guard, zones=zones), Limits(lower, lower + width)
    edges = breakpoints(limits, acceptance(limits, U, rule), zones) or (lower,)
    value = edges[edge % len(edges)] + offset
    found = decide(value, U, limits, rule, unit="N")
    if found.acceptance.empty:
        assert "no value is accepted" in found.statement
        return
    low, high = map(Decimal, re.search(r"accepted from (\S+) to (\S+) N", found.statement).groups())
    w = Decimal(re.search(r"\(w = (\S+)(?: N)?\)", found.statement)[1])
    beyond = max(limits.lower - value, value - limits.upper)
    printed = (
        "pass"
        if low <= value <= high
        else "fail"
        if zones == 2
        else "conditional_pass"
        if beyond <= 0
        else "conditional_fail"
        if beyond <= w
        else "fail"
    )
    assert printed == found.verdict
    assert found.acceptance.lower <= low <= high <= found.acceptance.upper
