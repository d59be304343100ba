"""How a set-up comparison is answered: text with its digits, the reasons, and one sentence.

The readings are worked by hand beside each case; quantiles and p by scipy.
"""

from __future__ import annotations

import json
from decimal import Decimal

import pytest
from scipy.stats import ttest_1samp

from api.rules.uncertainty.comparison import Readings, compare
from api.rules.uncertainty.setup_effect import setup_effect
from api.services.setups.comparison_answers import comparison_answer, numbered

SETUPS = {
    "usual": {"name": "customer's pin", "pin_diameter": "2 in"},
    "other": {"name": "our pin", "pin_diameter": "50 mm"},
}
# Run by run 860, 858 and 862 lbf lower.
RUNS = ("50000", ["50000", "50002", "49998"], ["49140", "49144", "49136"])


def decimals(texts):
    return [None if text is None else Decimal(text) for text in texts]


def answered(*points, setups=SETUPS, resolution=None, **U):
    readings = [
        Readings(Decimal(at), numbered(decimals(usual)), numbered(decimals(other)), **U)
        for at, usual, other in points
    ]
    found = compare(readings, Decimal("0.95"), resolution=resolution)
    request = {
        "setups": setups,
        "unit": "lbf",
        "performed_at": "2025-06-10T09:00:00Z",
        "person": "R. Fenn",
        "confidence": Decimal("0.950"),
        "weighting": "plain",
    }
    effect = setup_effect(readings, found, resolution)
    answer = comparison_answer(request, {"type": "tension_link"}, found, effect)
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    return answer


def test_runs_are_numbered_from_one_and_those_not_made_are_left_out():
    made = numbered([Decimal(5), None, Decimal(7)])
    assert made == {1: 5, 3: 7}


def test_the_sentence_says_which_set_up_how_much_how_sure_and_by_which_test():
    # -860/50000 = -1.72 %
    said = answered(RUNS)["sentence"]
    assert said == (
        'With the set-up "our pin" in the place of "customer\'s pin" the reading of a tension_link '
        "changes by -1.72 % of the applied force on average over 1 point(s), at most by -860 lbf "
        "(-1.72 %) at 50000 lbf: significant (from run to run)."
    )


def test_a_test_is_shown_with_its_figures():
    (point,) = answered(RUNS)["points"]
    reference = ttest_1samp([-860, -858, -862], 0)
    interval = reference.confidence_interval(0.95)
    assert float(point["t"]) == pytest.approx(reference.statistic, rel=1e-9)
    assert point["p_value"] == pytest.approx(reference.pvalue, rel=1e-6)
    assert float(point["interval"]["lower"]) == pytest.approx(interval.low, rel=1e-9)
    assert float(point["interval"]["upper"]) == pytest.approx(interval.high, rel=1e-9)
    assert (point["values"], point["dof"], point["significant"]) == (3, "2", True)
    assert "reason" not in point
    assert "E_n" not in point


def test_numbers_without_an_end_have_twelve_digits():
    # (1 + 1 + 2)/3 = 4/3 of 30: 2/45 = 0.0444...
    (point,) = answered(("30", ["30", "30", "30"], ["31", "31", "32"]))["points"]
    assert (point["difference"], point["difference_rel"]) == ("1.33333333333", "0.0444444444444")


def test_the_component_of_a_budget_is_half_the_difference():
    answer = answered(RUNS, ("10000", ["10000"] * 3, ["9900", "9902", "9898"]))
    first, second = answer["points"]
    # half of 860 and of 100; in percent half of the larger share, 1.72
    assert (first["component"]["half_width"], second["component"]["half_width"]) == ("430", "50")
    overall = answer["overall"]
    assert overall["component"]["half_width"] == "0.86"
    assert overall["component"]["relative"] is True
    assert overall["largest"] == {"applied": "50000", "difference_rel": "-0.0172"}
    # (-0.0172 - 0.01)/2, and half of the difference between them
    assert (overall["mean_rel"], overall["half_range_rel"]) == ("-0.0136", "0.0036")


def test_stated_uncertainties_give_a_normalized_error():
    # 860/sqrt(30^2 + 40^2) = 17.2 (ISO/IEC 17043:2010, B.3.1.3, from memory)
    (point,) = answered(RUNS, usual_U=Decimal(30), other_U=Decimal(40))["points"]
    value, exceeds = point["E_n"]["value"], point["E_n"]["exceeds"]
    assert (abs(Decimal(value)), exceeds) == (Decimal("17.2"), True)


@pytest.mark.parametrize(
    ("usual", "other", "expected"),
    [
        ({"pin_diameter": "2 in"}, {"pin_diameter": "50.8 mm"}, []),  # the same length
        ({"pin_diameter": "2 in"}, {"pin_diameter": "50 mm"}, ["pin_diameter"]),
        ({"shackle_style": "bow"}, {"shackle_style": "dee"}, ["shackle_style"]),
        ({"roller_bearings": True}, {"roller_bearings": False}, ["roller_bearings"]),
        ({"rod_thread": "straight"}, {}, []),  # said of one only
        (
            {"spherical_seat": True, "pin_diameter": "2 in"},
            {"spherical_seat": False, "pin_diameter": "1 in"},
            ["pin_diameter", "spherical_seat"],
        ),
    ],
)
def test_what_the_set_ups_differ_in_is_what_is_stated_of_both(usual, other, expected):
    setups = {"usual": {"name": "a", **usual}, "other": {"name": "b", **other}}
    assert answered(RUNS, setups=setups)["differ_in"] == expected


def test_uncertainties_that_cancel_are_not_called_missing():
    # U_d^2 = 1 + 1 - 2 x 1 = 0: both are wholly that of the common reference.
    common = {name: Decimal(1) for name in ("usual_U", "other_U", "common_U")}
    said = answered(("100", ["100"], ["101"]), **common)["sentence"]
    assert "nothing was repeated, and all of the stated uncertainties is common" in said
    assert "no uncertainties were stated" in answered(("100", ["100"], ["101"]))["sentence"]


def test_a_percentage_without_an_end_is_rounded_in_the_sentence_only():
    answer = answered(("2700", ["2700"], ["2696.8"]))  # -3.2/2700 = -0.118518...
    assert "changes by -0.1185 % of the applied force" in answer["sentence"]
    assert answer["overall"]["mean_rel"] == "-0.00118518518519"


def test_a_single_reading_is_answered_without_a_test_and_with_the_reason():
    answer = answered(("100", ["100"], ["101"]))
    (point,) = answer["points"]
    assert (point["t"], point["p_value"], point["interval"], point["significant"]) == (None,) * 4
    assert point["reason"]
    assert "undecided (not tested: nothing was repeated" in answer["sentence"]
    overall = answer["overall"]
    assert overall["basis"] is overall["significant"] is None
    assert overall["over_runs"]["reason"] == "a single value has no scatter"


def test_an_effect_whose_uncertainty_nothing_tells_says_why():
    effect = answered(("100", ["100"], ["101"]))["effect"]
    assert (effect["effect_rel"], effect["U_delta_rel"], effect["U_reported"]) == (
        "0.01",
        None,
        None,
    )
    assert effect["reason"]
    known = answered(RUNS)["effect"]
    assert known["U_delta_k"] == "2"
    # reported up to two digits
    assert Decimal(known["U_reported"]) >= Decimal(known["U_delta_rel"])
    assert len(known["U_reported"].lstrip("0.")) <= 2


def test_the_caution_stands_in_every_answer_and_digits_as_they_were_sent():
    answer = answered(RUNS)
    assert any("competent, authorised person" in one for one in answer["cautions"])
    assert answer["confidence"] == "0.950"
