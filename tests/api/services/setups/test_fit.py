"""Bearings, seats, threads, orientation: the requirement counts, else common practice."""

from __future__ import annotations

import pytest

from api.services.setups.fit import fit_findings


def of(check, setup):
    return [one for one in fit_findings(setup) if one["check"] == check]


def one_of(check, setup):
    (found,) = of(check, setup)
    return found


def test_an_instrument_without_a_requirement_says_so_first(setup_of, piece):
    first = fit_findings(setup_of(piece("A")))[0]
    assert (first["check"], first["outcome"]) == ("requirement", "not_checked")
    assert (
        first["missing"] == "a requirement for TL-1, its make and model, or its type and capacity"
    )
    assert of("requirement", setup_of(required={})) == []


def test_findings_come_in_the_order_of_the_questions(setup_of, piece):
    required = {
        "orientation_kept": True,
        "rod_thread": "shouldered",
        "spherical_seat": True,
        "roller_bearings": True,
        "shackle": {"style": "bow"},
        "pin": {"diameter": "2 in"},
    }
    marked = piece("P", type="pin", position="top", place="top", pin_diameter="2 in")
    checks = [one["check"] for one in fit_findings(setup_of(marked, required=required))]
    assert checks == [
        "pin_diameter",
        "pin_position",
        "shackle",
        "roller_bearings",
        "spherical_seat",
        "rod_thread",
        "orientation",
        "misalignment",
    ]


@pytest.mark.parametrize(
    ("stated", "required", "outcome"),
    [
        (True, True, "agrees"),
        (False, True, "differs"),
        (True, False, "differs"),
        (False, False, "agrees"),
        (None, True, "not_checked"),
        ("yes", True, "not_checked"),  # a word is no record of it
    ],
)
def test_bearings_are_there_or_not_as_required(setup_of, piece, stated, required, outcome):
    said = {} if stated is None else {"roller_bearings": stated}
    setup = setup_of(piece("A", fitting="A", **said), required={"roller_bearings": required})
    assert one_of("roller_bearings", setup)["outcome"] == outcome


def test_each_fitting_is_asked_for_its_bearings_and_a_part_may_have_them(setup_of, piece):
    pieces = [
        piece("TOP", place="top", fitting="TOP"),
        piece("IN", place="top", fitting="TOP", roller_bearings=True),
        piece("BOT", place="bottom", fitting="BOT", roller_bearings=False),
    ]
    top, bottom = of("roller_bearings", setup_of(*pieces, required={"roller_bearings": True}))
    assert (top["outcome"], top["about"], top["position"]) == ("agrees", ["IN"], "top")
    assert (bottom["outcome"], bottom["about"], bottom["position"]) == (
        "differs",
        ["BOT"],
        "bottom",
    )


def test_one_spherical_seat_in_the_stack_is_enough(setup_of, piece):
    pieces = [piece("A", spherical_seat=False), piece("B", spherical_seat=True)]
    setup = setup_of(*pieces, required={"spherical_seat": True})
    assert one_of("spherical_seat", setup)["outcome"] == "agrees"


def test_a_dynamometer_is_to_hang_on_bearings_by_common_practice(setup_of, piece):
    # 5 to 8 % without roller bearings: common practice, no source
    bare = piece("A", fitting="A", roller_bearings=False)
    found = one_of("roller_bearings", setup_of(bare, type="dynamometer"))
    assert (found["outcome"], found["required_by"]) == ("differs", "common practice, no source")
    effect = found["likely_effect"]
    assert (effect["error_rel_low"], effect["error_rel_high"]) == ("0.05", "0.08")
    # A link is asked for none, and the record of an instrument stands before common practice.
    assert of("roller_bearings", setup_of(bare)) == []
    own = setup_of(bare, type="dynamometer", required={"roller_bearings": False})
    assert one_of("roller_bearings", own)["outcome"] == "agrees"


def test_a_set_up_without_fittings_is_asked_all_the_same(setup_of):
    found = one_of("roller_bearings", setup_of(type="dynamometer"))
    assert (found["outcome"], found["about"]) == ("not_checked", [])
    assert "nothing is recorded of the set-up" in found["sentence"]


@pytest.mark.parametrize(
    ("thread", "outcome"), [("Shouldered", "agrees"), ("straight", "differs"), (7, "not_checked")]
)
def test_a_rod_has_the_thread_that_is_required(setup_of, piece, thread, outcome):
    setup = setup_of(piece("ROD", rod_thread=thread), required={"rod_thread": "shouldered"})
    assert one_of("rod_thread", setup)["outcome"] == outcome


def test_a_required_thread_that_nobody_recorded_is_missing(setup_of, piece):
    setup = setup_of(piece("ROD"), required={"rod_thread": "shouldered"})
    found = one_of("rod_thread", setup)
    assert (found["outcome"], found["required"]) == ("not_checked", "shouldered")


def test_a_straight_thread_is_avoided_by_common_practice(setup_of, piece):
    # It has no shoulder to align it: common practice, no source
    pieces = [piece("A", rod_thread="Straight"), piece("B", rod_thread="shouldered")]
    found = one_of("rod_thread", setup_of(*pieces))
    assert (found["about"], found["required"]) == (["A"], "not straight")
    assert found["outcome"] == "differs"


@pytest.mark.parametrize(
    ("said", "outcome"), [(True, "agrees"), (False, "differs"), (None, "not_checked")]
)
def test_marks_that_are_to_be_kept_are_looked_at(setup_of, said, outcome):
    request = {} if said is None else {"orientation_kept": said}
    setup = setup_of(required={"orientation_kept": True}, request=request)
    found = one_of("orientation", setup)
    assert (found["outcome"], found["about"]) == (outcome, ["TL-1"])
    assert ("likely_effect" in found) is (outcome == "differs")


def test_marks_that_nothing_asks_for_are_not_looked_at(setup_of):
    for required in ({}, {"orientation_kept": False}):
        setup = setup_of(required=required, request={"orientation_kept": False})
        assert of("orientation", setup) == []
