"""The form of a finding: what it says, what it leaves out, and how a length or a word is compared.

1 in = 25.4 mm (NIST SP 811:2008, appendix B, from memory).
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from api.rules.fitting.fit import Fit, compare
from api.rules.fitting.lengths import parse_length
from api.services.setups.findings import (
    AGREES,
    DIFFERS,
    NOT_CHECKED,
    effect_of,
    finding,
    in_mm,
    length_of,
    names,
    off_by,
    tolerances,
    unknown_finding,
    word_finding,
    worst,
)
from api.services.setups.setup_comparisons import MeasuredEffect


def test_a_finding_names_items_and_leaves_out_what_is_none(piece):
    made = finding("wear", AGREES, [piece("P-1"), "P-2"], "said.", remedy=None, found=False)
    assert made == {
        "check": "wear",
        "outcome": "agrees",
        "about": ["P-1", "P-2"],
        "sentence": "said.",
        "found": False,
    }


@pytest.mark.parametrize(
    ("outcomes", "expected"),
    [
        ([AGREES, NOT_CHECKED, DIFFERS], DIFFERS),
        ([NOT_CHECKED, AGREES], NOT_CHECKED),
        ([AGREES], AGREES),
        ([], AGREES),
    ],
)
def test_the_worst_outcome_is_a_difference_then_what_was_not_checked(outcomes, expected):
    assert worst([finding("x", one, [], "") for one in outcomes]) == expected


def test_a_deviation_has_its_unit_and_its_share_of_what_is_required():
    # 50 - 50.8 = -0.8; -0.8 / 50.8 = -2/127 = -0.01574803149606...
    fit = compare(Fraction("50.8"), Fraction(50))
    assert off_by(fit, "mm") == {"absolute": "-0.8 mm", "relative": "-0.0157480314961"}
    assert off_by(Fit(False, Fraction(2), None), "deg") == {"absolute": "2 deg", "relative": None}


def test_a_length_is_read_or_the_reason_given():
    assert length_of("2 in")[0].mm == Fraction("50.8")
    assert length_of(None) == (None, None)
    for unreadable in (50, "50", '2"', "-1 mm", True):
        length, why = length_of(unreadable)
        assert length is None
        assert why


def test_tolerances_are_in_millimetres_and_zero_if_nothing_is_said():
    required = {"diameter": "2 in", "tolerance_plus": "1/16 in", "tolerance_minus": "0.2 mm"}
    # 25.4 / 16 = 1.5875
    assert tolerances(required) == (Fraction("1.5875"), Fraction("0.2"))
    assert tolerances({"diameter": "2 in"}) == (0, 0)


@pytest.mark.parametrize(
    ("written", "shown"),
    [("50.8 mm", "50.8 mm"), ("2 1/4 in", "2 1/4 in (57.15 mm)"), ("5 cm", "5 cm (50 mm)")],
)
def test_a_length_is_written_as_recorded_with_the_millimetres_beside_it(written, shown):
    assert in_mm(parse_length(written)) == shown


def test_what_the_laboratory_measured_stands_in_the_place_of_the_table(setup_of):
    # -0.01 with 0.002 on both sides
    measured = MeasuredEffect(7, "tension_link", "-0.01", "0.002", "2", "2025-05-01")
    effect = effect_of(setup_of(measured={"pin_diameter": measured}), "pin_diameter")
    assert (effect["error_rel_low"], effect["error_rel_high"]) == ("-0.012", "-0.008")
    assert effect["source"] == "set-up comparison 7 of this laboratory, 2025-05-01"
    # Common practice, no source: up to 2 % on tension links.
    assert effect_of(setup_of(), "pin_diameter")["error_rel_high"] == "0.02"


def test_an_effect_without_a_known_uncertainty_has_no_width(setup_of):
    measured = MeasuredEffect(7, "tension_link", "0.010", None, "2", "2025-05-01")
    effect = effect_of(setup_of(measured={"pin_diameter": measured}), "pin_diameter")
    assert effect["error_rel_low"] == effect["error_rel_high"] == "0.010"


def test_where_nobody_says_what_a_difference_does_nothing_is_said(setup_of):
    assert effect_of(setup_of(type="proving_ring"), "pin_diameter") is None


@pytest.mark.parametrize(
    ("stated", "outcome"),
    [("bow", AGREES), (" Bow ", AGREES), ("dee", DIFFERS), (None, NOT_CHECKED), (7, NOT_CHECKED)],
)
def test_a_word_agrees_whatever_its_case_and_spacing(setup_of, piece, stated, outcome):
    shackle = piece("SHK", place="top", **({} if stated is None else {"shackle_style": stated}))
    made = word_finding(setup_of(), "shackle_style", shackle, "bow", "requirement LINK version 1")
    assert (made["outcome"], made["about"], made["position"]) == (outcome, ["SHK"], "top")
    assert (made["required"], made["required_by"]) == ("bow", "requirement LINK version 1")
    assert ("remedy" in made) is (outcome != AGREES)


def test_what_is_not_recorded_says_which_property_of_which_item(setup_of, piece):
    one = piece("P-1")
    made = unknown_finding(setup_of(), "pin_diameter", one, None, {"required": "2 in"})
    assert made["sentence"].startswith("pin_diameter of P-1 is not recorded;")
    assert made["missing"] == "the property pin_diameter of P-1"
    assert "/v1/items/P-1" in made["remedy"]
    why = unknown_finding(setup_of(), "pin_diameter", one, "'2' is no length", {"required": "2 in"})
    assert why["sentence"].startswith("'2' is no length;")


def test_names_are_the_ids_for_a_sentence(piece):
    assert names([piece("A"), piece("B")]) == "A, B"
    assert names([]) == ""
