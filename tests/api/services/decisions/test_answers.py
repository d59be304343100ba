"""How a decision is answered: digits as text, probabilities as numbers, nothing that JSON lacks."""

from __future__ import annotations

import json
from decimal import Decimal
from fractions import Fraction

import pytest
from scipy.stats import norm

from api.rules.decide import Prior, decide
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule
from api.services.decisions.answers import (
    acceptance_answer,
    decision_answer,
    guard_band_answer,
    limits_answer,
)

RULE = {"id": "guard_U", "version": 1}
TWO = Limits(Decimal("9.0"), Decimal(11))


def answered(value="10.80", U="0.20", limits=TWO, rule=BUILT_IN["guard_U"], **more):
    asked, prior = more.pop("asked", None), more.get("prior")
    U = U if isinstance(U, Fraction) else Decimal(U)
    decision = decide(Decimal(value), U, limits, rule, unit="kN", **more)
    answer = decision_answer(decision, "kN", RULE, prior, asked)
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    return answer


def test_the_verdict_stands_first_and_numbers_keep_their_digits():
    answer = answered()
    assert next(iter(answer)) == "verdict"
    # 11 - 0.20 = 10.80, which the value is: on the limit it passes; 9.0 + 0.20 = 9.20
    assert answer["verdict"] == "pass"
    assert (answer["value"], answer["U"], answer["k"]) == ("10.80", "0.20", "2")
    assert answer["limits"] == {"lower": "9.0", "upper": "11"}
    assert answer["acceptance"] == {"lower": "9.20", "upper": "10.80"}
    assert answer["guard_band"] == "0.20"
    assert (answer["unit"], answer["rule"]) == ("kN", RULE)


def test_ratios_and_risks_are_those_of_the_normal_distribution():
    answer = answered()
    # T_U - T_L = 2: TUR 2/(2 x 0.2) and C_m 2/(4 x 0.1), both 5 (JCGM 106:2012, 7.6)
    assert (Decimal(answer["tur"]), Decimal(answer["capability"])) == (5, 5)
    # u = 0.1: 2 u below the upper limit and 18 u above the lower one
    conforms = norm.cdf(2) - norm.cdf(-18)
    assert answer["conformance_probability"] == pytest.approx(conforms, abs=1e-12)
    risks = answer["specific_risk"]
    assert risks["consumer"] == pytest.approx(1 - conforms, abs=1e-12)
    assert risks["consumer"] + risks["producer"] == pytest.approx(1, abs=1e-12)


def test_what_was_not_asked_is_absent_and_what_does_not_exist_is_null():
    answer = answered(limits=Limits(None, Decimal(11)))
    assert not {"global_risk", "posterior", "prior", "dof"} & answer.keys()
    assert (answer["tur"], answer["capability"]) == (None, None)
    assert answer["limits"]["lower"] is answer["acceptance"]["lower"] is None


def test_a_prior_is_shown_with_the_reliability_that_it_came_from():
    prior = Prior(Decimal("10.0"), Decimal("0.50"))
    answer = answered(prior=prior, asked={"reliability": Decimal("0.950")})
    assert answer["prior"] == {"mean": "10.0", "sd": "0.50", "reliability": "0.950"}
    assert {"global_risk", "posterior"} <= answer.keys()
    assert answered(prior=prior, asked={"mean": 1})["prior"] == {"mean": "10.0", "sd": "0.50"}


def test_degrees_of_freedom_are_shown_where_there_are_any():
    assert answered(dof=Decimal("9.5"))["dof"] == "9.5"


def test_a_converted_uncertainty_is_written_as_far_as_it_goes():
    # 1/3 has no end: 12 digits; rounded up to two it is 0.34, and 10.80 fits it
    answer = answered(U=Fraction(1, 3))
    assert answer["U"] == "0.333333333333"
    assert answer["reported"] == {"value": "10.80", "U": "0.34"}


def test_what_is_reported_has_two_digits_of_the_uncertainty_rounded_up():
    # GUM 7.2.6: at most two digits; 0.1234 up to 0.13, 10.805 half to even 10.80
    answer = answered("10.805", "0.1234")
    assert answer["reported"] == {"value": "10.80", "U": "0.13"}
    assert (answer["value"], answer["U"]) == ("10.805", "0.1234")


def test_limits_that_accept_nothing_say_so_with_the_reason():
    # U = 2 from each side of 9 to 11: 11 and 9, crossed over
    answer = answered(U="2")
    acceptance = answer["acceptance"]
    assert (acceptance["lower"], acceptance["upper"], acceptance["empty"]) == ("11.0", "9", True)
    assert "no result can pass" in acceptance["reason"]
    assert "empty" not in answered()["acceptance"]


def test_bands_that_differ_are_given_for_each_side():
    rule = Rule(guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.30"))))
    decision = decide(Decimal(10), Decimal("0.2"), TWO, rule)
    assert guard_band_answer(decision.acceptance) == {"lower": "0.1", "upper": "0.30"}
    assert acceptance_answer(decision.acceptance, decision.rule) == {
        "lower": "9.1",
        "upper": "10.70",
    }


@pytest.mark.parametrize(
    ("limits", "band"),
    [(Limits(None, Decimal(11)), "0.30"), (Limits(Decimal(9), None), "0.1")],
)
def test_the_band_of_the_only_limit_is_the_band(limits, band):
    rule = Rule(guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.30"))))
    decision = decide(Decimal(10), Decimal("0.2"), limits, rule)
    assert guard_band_answer(decision.acceptance) == band


def test_limits_are_text_without_exponents_and_null_where_there_is_none():
    assert limits_answer(Limits(Decimal("-1E+2"), None)) == {"lower": "-100", "upper": None}
