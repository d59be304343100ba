"""w1 to w8 and their combination.

The check values are this project's own calculation (invented inputs): the guide's worked example
could not be opened. w1 0.010, X = 2.00010, 2.00050, 2.00120 gives w2 0.01607, b' 0.03 gives w3
0.01732, r/F 0.01 gives w4 0.00408, c 0.03 gives w5 0.01732, w6 0.010, K dT/2 = 0.010 gives w7
0.00577, w8 0.030; w = 0.04481, W = 0.08963.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from api.rules.uncertainty.run_components import Reference, Temperature, combine, reported
from api.rules.uncertainty.runs import Deflection, Figure, PointFigures

ROTATIONS = [Fraction(text) for text in ("2.00010", "2.00050", "2.00120")]
FIGURES = {
    "repeatability": Figure(Fraction("0.03")),
    "reproducibility": Figure(Fraction("0.055")),
    "reversibility": Figure(None, "no descending reading at this force"),
    "interpolation": Figure(Fraction("-0.030")),
    "zero": Figure(Fraction("0.010")),
    "creep": Figure(Fraction("-0.03")),
    "resolution_ratio": Figure(Fraction(10_000)),
}
REFERENCE = Reference(Decimal("0.020"), Decimal(2))
TEMPERATURE = Temperature(Decimal(4), Decimal("0.005"))
WANTED = {
    "w1": 0.010,
    "w2": 0.01607,
    "w3": 0.01732,
    "w4": 0.00408,
    "w5": 0.01732,
    "w6": 0.010,
    "w7": 0.00577,
    "w8": 0.030,
}


def point(**changes):
    deflections = [Deflection(Decimal(120 * n), x, False, None) for n, x in enumerate(ROTATIONS)]
    mean = sum(ROTATIONS, Fraction(0)) / 3
    return PointFigures(Decimal(50), tuple(deflections), mean, None, FIGURES | changes)


def test_the_contributions_and_their_combination_have_their_check_values():
    found = combine(point(), REFERENCE, TEMPERATURE)
    assert {one.label: float(one.u_rel_pct) for one in found.contributions} == pytest.approx(
        WANTED, abs=5e-6
    )
    assert float(found.u_rel_pct) == pytest.approx(0.04481, abs=5e-6)
    assert float(found.U_rel_pct) == pytest.approx(0.08963, abs=5e-6)
    assert float(found.U_at(Decimal(50))) == pytest.approx(0.08963 / 100 * 50, rel=1e-4)
    assert reported(found.U_at(Decimal(50))) == "0.045"


DIVISORS = {"normal": 1, "rectangular": 3**0.5, "triangular": 6**0.5}


def test_a_component_gives_the_same_standard_uncertainty_by_its_own_distribution():
    for one in combine(point(), REFERENCE, TEMPERATURE).contributions:
        sent = one.component
        if "U" in sent:
            u = float(sent["U"]) / float(sent["k"])
        else:
            u = float(sent.get("u", sent.get("half_width"))) / DIVISORS[sent["distribution"]]
        assert u == pytest.approx(float(one.u_rel_pct), rel=1e-10), one.label
        assert (sent["relative"], sent["of"]) == (True, "50")
        assert "from memory, verify" in sent["source"]


def test_reproducibility_carries_its_degrees_of_freedom():
    (one,) = (c for c in combine(point(), REFERENCE, None).contributions if c.label == "w2")
    assert one.component["dof"] == "2"


def test_what_is_missing_is_left_out_with_its_reason():
    found = combine(point(creep=Figure(None, "no creep readings were given")), REFERENCE, None)
    assert {one.label: one.reason for one in found.left_out} == {
        "w5": "no creep readings were given",
        "w7": "no range and coefficient of temperature were given",
    }
    squares = sum(WANTED[label] ** 2 for label in WANTED if label not in ("w5", "w7"))
    assert float(found.u_rel_pct) == pytest.approx(squares**0.5, abs=1e-5)


@pytest.mark.parametrize(
    ("changes", "reference", "label"),
    [
        ({}, None, "w1"),
        ({"reproducibility": Figure(None, "fewer than two rotations")}, REFERENCE, "w2"),
    ],
)
def test_without_reference_or_rotations_nothing_is_combined(changes, reference, label):
    found = combine(point(**changes), reference, TEMPERATURE)
    assert found.u_rel_pct is None
    assert found.U_at(Decimal(50)) is None
    assert label in found.reason


def test_a_deflection_of_zero_has_no_resolution():
    found = combine(point(resolution_ratio=Figure(Fraction(0))), REFERENCE, TEMPERATURE)
    assert [one.label for one in found.left_out] == ["w4"]
