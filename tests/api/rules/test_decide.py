"""One decision: verdicts on and off the edges, risks, and properties that hold for every result."""

from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from api.rules.decide import Prior, decide
from api.rules.exact import FieldError
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule
from api.rules.units import FORCE_UNITS, to_newton

TWO = Limits(Decimal(9), Decimal(11))
U = Decimal("0.2")

numbers = st.decimals(-100, 100, places=3)
widths = st.decimals(0, 100, places=3)
uncertainties = st.decimals(0, 20, places=3)
factors = st.decimals(0, 3, places=2)
BASES = [
    Rule(guard=Guard("none")),
    Rule(guard=Guard("U", factor=Decimal(1))),
    Rule(guard=Guard("U", factor=Decimal(1)), zones=4),
    Rule(guard=Guard("tolerance", share=Decimal("0.2"))),
    Rule(guard=Guard("managed"), zones=4),
    Rule(guard=Guard("rds")),
    Rule(guard=Guard("specific_risk", target=Decimal("0.025"))),
]
rules = st.sampled_from(BASES)


def two_sided(lower, width):
    return Limits(lower, lower + width)


def test_a_tenth_and_two_tenths_pass_against_five_tenths_less_two():
    value = Decimal("0.1") + Decimal("0.2")
    found = decide(value, U, Limits(None, Decimal("0.5")), BUILT_IN["guard_U"])
    assert found.verdict == "pass"


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("8.7", "fail"),
        ("8.8", "conditional_fail"),
        ("9", "conditional_pass"),
        ("9.2", "pass"),
        ("10.8", "pass"),
        ("10.8000000000000000000001", "conditional_pass"),
        ("11.0", "conditional_pass"),
        ("11.2", "conditional_fail"),
        ("11.21", "fail"),
    ],
)
def test_an_edge_belongs_to_the_better_zone(value, expected):
    assert decide(Decimal(value), U, TWO, BUILT_IN["four_state_U"]).verdict == expected


def test_relaxed_acceptance_passes_outside_the_limits():
    rule = Rule(guard=Guard("U", factor=Decimal(-1)))
    assert decide(Decimal("11.2"), U, TWO, rule).verdict == "pass"
    assert decide(Decimal("11.21"), U, TWO, rule).verdict == "fail"


def test_an_empty_acceptance_still_has_its_conditional_zones():
    rule = BUILT_IN["four_state_U"]
    for value, expected in (("10", "conditional_pass"), ("12", "conditional_fail"), ("13", "fail")):
        found = decide(Decimal(value), Decimal("1.5"), TWO, rule)
        assert found.acceptance.empty
        assert found.verdict == expected


@settings(deadline=None)
@given(numbers, numbers, widths, uncertainties, rules)
def test_mirroring_the_signs_mirrors_the_answer(value, lower, width, U, rule):
    limits = two_sided(lower, width)
    mirrored = Limits(-limits.upper, -limits.lower)
    prior = Prior(lower, Decimal(1))
    found = decide(value, U, limits, rule, prior=prior)
    other = decide(-value, U, mirrored, rule, prior=Prior(-lower, Decimal(1)))
    assert found.verdict == other.verdict
    assert found.specific_risk == other.specific_risk
    for name in ("consumer", "producer", "accepted"):
        assert other.global_risk[name] == pytest.approx(found.global_risk[name], abs=1e-14)


@settings(deadline=None)
@given(numbers, numbers, widths, uncertainties, uncertainties, factors)
def test_a_wider_uncertainty_never_turns_a_guarded_fail_into_a_pass(
    value, lower, width, U, more, factor
):
    limits = two_sided(lower, width)
    rule = Rule(guard=Guard("U", factor=factor))
    narrow = decide(value, U, limits, rule).verdict
    wide = decide(value, U + more, limits, rule).verdict
    assert not (narrow == "fail" and wide == "pass")


@settings(deadline=None)
@given(numbers, numbers, widths, uncertainties, rules, st.sampled_from(FORCE_UNITS))
def test_the_unit_never_changes_the_verdict(value, lower, width, U, rule, unit):
    limits = two_sided(lower, width)
    in_newton = Limits(to_newton(limits.lower, unit), to_newton(limits.upper, unit))
    found = decide(value, U, limits, rule)
    other = decide(to_newton(value, unit), to_newton(U, unit), in_newton, rule)
    assert found.verdict == other.verdict
    assert found.specific_risk == other.specific_risk
    assert found.tur == other.tur


@settings(deadline=None)
@given(numbers, numbers, uncertainties, st.booleans(), st.sampled_from(FORCE_UNITS))
def test_one_limit_alone_is_mirrored_and_converted_like_two(value, limit, U, below, unit):
    rule = Rule(guard=Guard("specific_risk", target=Decimal("0.025")), zones=4)
    limits = Limits(limit, None) if below else Limits(None, limit)
    found = decide(value, U, limits, rule)
    mirrored = Limits(None, -limit) if below else Limits(-limit, None)
    in_newton = to_newton(limit, unit)
    converted = Limits(in_newton, None) if below else Limits(None, in_newton)
    for other in (
        decide(-value, U, mirrored, rule),
        decide(to_newton(value, unit), to_newton(U, unit), converted, rule),
    ):
        assert (other.verdict, other.specific_risk) == (found.verdict, found.specific_risk)


@settings(deadline=None)
@given(numbers, numbers, widths, st.decimals("0.001", 20, places=3), st.integers(1, 40))
def test_probabilities_add_up_and_null_stands_for_what_does_not_exist(value, lower, width, U, dof):
    found = decide(value, U, two_sided(lower, width), BUILT_IN["simple"], dof=Decimal(dof))
    assert found.specific_risk["consumer"] + found.specific_risk["producer"] == pytest.approx(1.0)
    assert 0.0 <= found.conformance_probability <= 1.0
    single = decide(value, U, Limits(lower, None), BUILT_IN["simple"])
    assert single.tur is None
    assert single.capability is None


@settings(deadline=None)
@given(numbers, numbers, numbers)
def test_without_uncertainty_the_probability_is_the_simple_verdict(value, lower, upper):
    assume(lower <= upper)
    found = decide(value, Decimal(0), Limits(lower, upper), BUILT_IN["simple"])
    assert found.conformance_probability == (1.0 if found.verdict == "pass" else 0.0)
    assert found.specific_risk["consumer"] == 1.0 - found.conformance_probability


def test_a_prior_brings_global_risks_and_the_posterior():
    found = decide(
        Decimal("10.8"),
        Decimal("0.5"),
        TWO,
        BUILT_IN["simple"],
        prior=Prior(Decimal(10), Decimal("0.5")),
    )
    # NASA RP-1342, F.5.5.4 (read), scaled: limits at two prior sd, u half a prior sd.
    assert found.global_risk["consumer"] == pytest.approx(0.012388749307823, abs=1e-12)
    assert found.global_risk["producer"] == pytest.approx(0.040526755531768, abs=1e-12)
    # JCGM 106, 6: inverse-variance weights 4 and 16 by hand.
    assert found.posterior["mean"] == pytest.approx(10.64)
    assert found.posterior["sd"] == pytest.approx(0.05**0.5)
    without = decide(Decimal(10), U, TWO, BUILT_IN["simple"])
    assert without.global_risk is None
    assert without.posterior is None


def test_without_uncertainty_the_posterior_risk_is_the_step_at_the_exact_limit():
    limits, prior = Limits(None, Decimal(0)), Prior(Decimal("0.01"), Decimal("0.5"))
    # as floats, 1E-25 - 0.01 and 0 - 0.01 are the same number
    for value, risk in ((Decimal("1E-25"), 1.0), (Decimal(0), 0.0)):
        found = decide(value, Decimal(0), limits, BUILT_IN["simple"], prior=prior)
        assert found.posterior == {"mean": float(value), "sd": 0.0, "risk": risk}


def test_numbers_beyond_the_range_of_floats_give_probabilities_all_the_same():
    far = Decimal("1E+400")
    found = decide(far, far, Limits(None, 2 * far), BUILT_IN["simple"])
    assert found.conformance_probability == pytest.approx(0.977249868)


def test_a_float_is_refused():
    with pytest.raises(TypeError, match="not float"):
        decide(10.0, U, TWO, BUILT_IN["simple"])


def test_numbers_that_no_arithmetic_can_hold_are_an_error_of_the_input():
    with pytest.raises(FieldError, match="check exponents"):
        decide(Decimal(1), Decimal("1E-900"), Limits(None, Decimal("1E+900")), BUILT_IN["guard_U"])
