"""A budget at one point: units, relative figures, coverage and the floor, worked by hand.

GUM is JCGM 100:2008. 1 lbf = 4.4482216152605 N (NIST SP 811:2008, appendix B, from memory).
"""

from __future__ import annotations

import json
from decimal import Decimal
from math import sqrt

import pytest
from scipy.stats import norm
from scipy.stats import t as student

from api.rules.exact import FieldError
from api.rules.uncertainty.cmc import Capability, Cmc
from api.services.uncertainty.budget_points import Asked, point_answer, terms

# 0.03 and 0.04: u = 0.05
SMALL = (
    {"name": "reference", "distribution": "normal", "U": "0.06", "k": "2"},
    {"name": "drift", "distribution": "normal", "u": "0.04"},
)
_NUMBERS = ("U", "k", "u", "s", "half_width", "beta", "digit", "dof", "of", "sensitivity")


def component(sent):
    return {n: Decimal(p) if n in _NUMBERS else p for n, p in sent.items()}


def answer(*sent, value="100", unit="kN", floor=None, coverage=None, correlations=(), digits=2):
    asked = Asked(coverage or {}, correlations, digits)
    parts = terms([component(one) for one in sent], "/components")
    made = point_answer(asked, Decimal(value), unit, parts, floor)
    assert json.loads(json.dumps(made, allow_nan=False)) == made
    return made


def refused(*sent, **more):
    with pytest.raises(FieldError) as found:
        answer(*sent, **more)
    return found.value.field


def test_a_budget_adds_variances_and_is_reported_to_two_digits():
    made = answer(*SMALL)
    assert (made["u"], made["u_rel_pct"], made["k"], made["U"]) == ("0.05", "0.05", "2", "0.1")
    assert [one["share"] for one in made["components"]] == ["0.36", "0.64"]
    assert [one["u"] for one in made["components"]] == ["0.03", "0.04"]
    # GUM 7.2.6: two digits, and the value to the same place
    assert (made["U_reported"], made["value_reported"]) == ("0.10", "100.00")
    assert made["floor"] is None


def test_a_few_degrees_of_freedom_make_k_larger():
    # Welch-Satterthwaite (GUM G.4.1): 0.05^4/(0.03^4/4 + 0.04^4/9) = 12.8..., cut to 12
    made = answer(SMALL[0] | {"dof": "4"}, SMALL[1] | {"dof": "9"})
    effective = 0.05**4 / (0.03**4 / 4 + 0.04**4 / 9)
    assert float(made["dof_effective"]) == pytest.approx(effective, rel=1e-9)
    assert made["dof_for_k"] == int(effective)
    # 95.45 % stands for what two standard deviations cover (GUM G.6.6)
    expected = student.ppf(norm.cdf(2), int(effective))
    assert float(made["k"]) == pytest.approx(expected, rel=1e-9)


def test_a_stated_k_is_taken_as_it_is():
    made = answer(*SMALL, coverage={"k": Decimal("2.50")})
    assert (made["coverage"], made["U"]) == ({"method": "stated", "probability_pct": None}, "0.125")
    assert made["reasons"]["dof_for_k"] == "k was stated"


def test_another_unit_of_force_is_converted_exactly():
    # 100 lbf = 0.44482216152605 kN; half-width/sqrt 3
    made = answer({"name": "a", "distribution": "rectangular", "half_width": "100", "unit": "lbf"})
    (one,) = made["components"]
    assert float(one["u"]) == pytest.approx(0.44482216152605 / sqrt(3), rel=1e-11)
    assert one["unit"] == "kN"


def test_a_relative_figure_is_of_the_value_or_of_what_is_named():
    share = {"name": "a", "distribution": "normal", "u": "0.05", "relative": True}
    assert answer(share)["u"] == "0.05"  # 0.05 % of 100
    assert answer(share, value="-40")["u"] == "0.02"
    assert answer(share | {"of": "500"})["u"] == "0.25"


def test_another_quantity_acts_through_its_sensitivity():
    # 0.3 K x 0.02 kN/K = 0.006 kN
    made = answer(
        {"name": "t", "distribution": "normal", "u": "0.3", "unit": "°C", "sensitivity": "0.02"}
    )
    (one,) = made["components"]
    assert (one["u"], one["unit"], one["contribution"], made["u"]) == (
        "0.3",
        "°C",
        "0.006",
        "0.006",
    )


def test_correlated_components_add_before_they_are_squared():
    # r = 1: 0.03 + 0.04; r = -1: 0.01 (GUM 5.2.2)
    for r, u in (("1", "0.07"), ("-1", "0.01")):
        both = [{"between": ("reference", "drift"), "r": Decimal(r)}]
        assert answer(*SMALL, correlations=both)["u"] == u


CMC = Cmc(
    id="T",
    version=3,
    mode="tension",
    lower=Decimal(1),
    upper=Decimal(500),
    unit="kN",
    U_abs=Decimal("0.2"),
)


@pytest.mark.parametrize(
    ("floor", "stated", "applied"), [("0.2", "0.2", True), ("0.05", "0.1", False)]
)
def test_below_a_capability_its_uncertainty_is_stated_and_k_stays(floor, stated, applied):
    made = answer(*SMALL, floor=Capability(CMC, Decimal(floor)))
    assert (made["U"], made["U_stated"], made["k"]) == ("0.1", stated, "2")
    assert made["floor"] == {
        "cmc": "T",
        "version": 3,
        "mode": "tension",
        "U_cmc": floor,
        "applied": applied,
    }
    assert any("below the CMC T version 3" in note for note in made["notes"]) is applied


def test_an_uncertainty_is_rounded_up_and_never_down():
    # U = 2 x 0.0501 = 0.1002
    made = answer({"name": "a", "distribution": "normal", "u": "0.0501"})
    assert (made["U"], made["U_reported"]) == ("0.1002", "0.11")
    one_digit = answer({"name": "a", "distribution": "normal", "u": "0.0501"}, digits=1)
    assert one_digit["U_reported"] == "0.2"


def test_a_rectangle_that_outweighs_the_rest_may_set_k():
    # A rectangle alone covers 95 % within 0.95 a: k = 0.95 sqrt 3 = 1.645 (GUM 4.3.7, G.1.3)
    wide = {"name": "wide", "distribution": "rectangular", "half_width": "1"}
    coverage = {"method": "dominant_rectangular", "probability_pct": Decimal(95)}
    made = answer(wide, {"name": "b", "distribution": "normal", "u": "0.000001"}, coverage=coverage)
    assert float(made["k"]) == pytest.approx(0.95 * sqrt(3), rel=1e-4)
    assert made["coverage"]["components"] == ["wide"]
    assert made["dof_for_k"] is None
    # Without the method k stays, and a note says what it would be.
    usual = answer(wide, {"name": "b", "distribution": "normal", "u": "0.000001"})
    assert (usual["k"], any("outweighs the rest" in note for note in usual["notes"])) == ("2", True)


def test_a_value_of_zero_has_no_relative_uncertainty_and_says_why():
    made = answer(*SMALL, value="0")
    assert (made["u_rel_pct"], made["U_rel_pct"]) == (None, None)
    assert made["reasons"]["u_rel_pct"] == "the value is 0"


def test_every_component_at_zero_is_a_budget_without_shares():
    made = answer({"name": "a", "distribution": "normal", "u": "0"})
    assert (made["U"], made["components"][0]["share"]) == ("0", None)
    assert made["reasons"]["share"] == "the combined uncertainty is 0"


BASE = {"name": "b", "distribution": "normal", "u": "1"}


@pytest.mark.parametrize(
    ("sent", "place"),
    [
        (BASE | {"unit": "kg"}, "/components/1/unit"),
        (BASE | {"unit": "°C"}, "/components/1/sensitivity"),
        (BASE | {"of": "5"}, "/components/1/of"),
        (
            BASE | {"unit": "°C", "sensitivity": "1", "relative": True},
            "/components/1/of",
        ),
        ({"name": "b", "u": "1"}, "/components/1/distribution"),
        (BASE | {"u": "-1"}, "/components/1/u"),
        (BASE | {"name": "drift"}, "/components/1/name"),
    ],
)
def test_what_is_wrong_is_named_by_its_pointer(sent, place):
    assert refused(SMALL[1], sent) == place


def test_the_kind_of_a_ready_component_says_its_distribution():
    (term,) = terms([component({"name": "r", "kind": "reference", "U": "0.06", "k": "2"})], "/c")
    assert (term.distribution, term.place) == ("normal", "/c/0")


def test_nothing_that_dominates_cannot_set_k():
    coverage = {"method": "dominant_rectangular"}
    assert refused(*SMALL, coverage=coverage) == "/coverage"
