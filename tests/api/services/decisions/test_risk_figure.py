"""The picture of a rule's risks against the test uncertainty ratio."""

from __future__ import annotations

from decimal import Decimal
from math import erfc, sqrt
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from api.errors import InvalidRecord
from api.rules.limits import Limits
from api.rules.risk import global_risk
from api.rules.rule import BUILT_IN, Guard, Rule, rule_from_mapping
from api.services.decisions.risk_figure import TURS, risk_curves, risk_figure

SVG = "{http://www.w3.org/2000/svg}"
ONE = Limits(Decimal(-1), Decimal(1))
RDS = Rule("rds", guard=Guard("rds"))
TARGET = Rule("target", guard=Guard("global_risk", target=Decimal("0.02")))
PRIOR = {"prior_sd": Decimal("0.5")}


def at(tur: str) -> int:
    """Place of the ratio nearest to this one."""
    return int(np.argmin([abs(known - Decimal(tur)) for known in TURS]))


def ids(content: bytes) -> set[str]:
    return {node.get("id", "") for node in ET.fromstring(content).iter(f"{SVG}g")}


def texts(content: bytes) -> list[str]:
    root = ET.fromstring(content)
    return ["".join(node.itertext()).strip() for node in root.iter(f"{SVG}text")]


def test_the_ratios_run_from_one_half_to_twenty():
    assert (TURS[0], TURS[-1]) == (Decimal("0.5"), Decimal("20"))
    assert list(TURS) == sorted(TURS)


def test_the_worst_specific_risk_of_a_guard_band_of_U_is_that_of_two_standard_uncertainties():
    curves = risk_curves(BUILT_IN["guard_U"], ONE, {})
    # ILAC-G8:09/2019 (read): below 2.5 %; for one limit exactly Q(2)
    assert curves.specific[at("10")] == pytest.approx(erfc(2 / sqrt(2)) / 2, rel=1e-9)
    assert np.isnan(curves.specific[at("0.9")])
    assert list(curves.closed) == [tur < 1 for tur in TURS]
    assert curves.consumer is None


def test_each_ratio_has_the_risk_of_the_branch_that_decides_there():
    # Simple from TUR 4; w = 3 U from U/T 0.5, that is TUR 2, which accepts nothing up to TUR 3;
    # w = U from TUR 1; then no statement.
    rule = rule_from_mapping(
        {
            "guard": {"basis": "none"},
            "precondition": {"least_tur": "4"},
            "otherwise": {
                "guard": {"basis": "U", "factor": "3"},
                "precondition": {"greatest_U_over_T": "0.5"},
                "otherwise": {
                    "guard": {"basis": "U", "factor": "1"},
                    "precondition": {"least_tur": "1"},
                },
            },
        }
    )
    curves = risk_curves(rule, ONE, {})
    assert list(curves.closed) == [tur < 1 or 2 <= tur < 3 for tur in TURS]
    # On a limit half of the results do not conform, at 2 u Q(2) of them, at 6 u Q(6).
    for tur, z in (("5", 0), ("3.5", 6), ("1.9", 2)):
        assert curves.specific[at(tur)] == pytest.approx(erfc(z / sqrt(2)) / 2, rel=1e-3)
    drawn = texts(risk_figure(rule, {}, "svg"))
    assert "no result can pass, or no statement is made" in drawn


def test_global_risks_are_those_of_the_stated_prior():
    curves = risk_curves(BUILT_IN["simple"], ONE, PRIOR)
    place = at("4")
    u = 0.5 / float(TURS[place])
    expected = global_risk(-1, 1, -1, 1, 0, 0.5, u)
    assert curves.consumer[place] == pytest.approx(float(expected.consumer), rel=1e-9)
    assert curves.producer[place] == pytest.approx(float(expected.producer), rel=1e-9)


def test_a_rate_that_no_prior_explains_at_low_ratios_is_said_to_be_so():
    curves = risk_curves(BUILT_IN["simple"], ONE, {"reliability": Decimal("0.95")})
    # the measurement alone stays inside with 95 % where u = 0.51, TUR 0.98
    assert np.isnan(curves.consumer[at("0.9")])
    assert np.isfinite(curves.consumer[at("1.1")])
    assert "no prior explains below TUR" in curves.prior


def test_a_rule_that_needs_a_prior_takes_that_of_the_examples():
    curves = risk_curves(TARGET, ONE, {})
    assert "prior of the examples" in curves.prior
    assert curves.consumer.max() <= 0.02 + 1e-12


def test_the_picture_names_its_curves_the_rule_and_the_prior():
    content = risk_figure(RDS, PRIOR, "svg")
    curves = {"worst-specific-risk", "consumer-risk", "producer-risk", "no-result-can-pass"}
    assert curves <= ids(content)
    shown = texts(content)
    assert "Risks of decision rule rds" in shown
    assert any("standard deviation 0.5" in words for words in shown)
    assert {"0.5", "20", "2 %", "Test uncertainty ratio TUR", "no result can pass"} <= set(shown)


def test_without_a_prior_only_the_specific_risk_is_drawn():
    assert not {"consumer-risk", "producer-risk"} & ids(risk_figure(BUILT_IN["simple"], {}, "svg"))


def test_the_same_question_gives_the_same_bytes():
    for kind in ("svg", "png"):
        first, second = (risk_figure(RDS, PRIOR, kind) for _ in range(2))
        assert first == second
    assert risk_figure(RDS, PRIOR, "png").startswith(b"\x89PNG\r\n\x1a\n")


@pytest.mark.parametrize(
    ("rule", "query", "place"),
    [
        (RDS, {"lower": Decimal(1)}, "/lower"),
        (RDS, {"lower": Decimal(2)}, "/lower"),
        (RDS, {"reliability": Decimal("0.9"), "prior_mean": Decimal(1)}, "/prior_mean"),
        (RDS, {"prior_sd": Decimal(-1)}, "/prior_sd"),
        (TARGET, {"upper": Decimal(3)}, "/guard/basis"),
    ],
)
def test_what_cannot_be_drawn_is_refused_at_its_place(rule, query, place):
    with pytest.raises(InvalidRecord) as refused:
        risk_figure(rule, query, "svg")
    assert refused.value.issues[0].pointer == place
    assert refused.value.issues[0].remedy
