"""The window of a fault: which checks narrow it, and what is noted beside it.

A check moves the start if it passed, is independent, covers the faulty range, and its limit and
uncertainty together are below the fault: 0.0003 + 0.0001 < 0.0005 (fixtures/scenarios/recall.json,
conventions, window).
"""

from __future__ import annotations

import json

import pytest
from oracle_cases import cal, force_fault, lab, ref

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.run import recall

LATER = 1_893_456_000_000_000  # 2030

CHECK = {
    "id": "K-1",
    "item": "REF",
    "at": "2025-03-15T00:00:00Z",
    "result": "pass",
    "acceptance_limit_rel": "0.0003",
    "U_rel": "0.0001",
    "independent": True,
    "covers": "full range",
}


@pytest.fixture
def window(database):
    """Record REF with a check, and return what a fault of 0.0005 finds: its head and its lists."""

    def found(*calibrations, fault=None, **check):
        used = cal("C-1", "A", "02-01", [ref("REF")])
        laboratory = lab(used, *calibrations, checks=[CHECK | check])
        if check.get("against") is not None:
            known = {item["id"] for item in laboratory["items"]}
            if check["against"] not in known:
                laboratory["items"].append({"id": check["against"], "kind": "working_standard"})
        request = RecallRequestSchema().load({"fault": force_fault("REF") | (fault or {})})
        with database.write() as session:
            import_laboratory(session, LaboratorySchema().load(laboratory), 0)
            answer = recall(session, request, LATER)
        lists = {name: [json.loads(e.text) for e in some] for name, some in answer.lists.items()}
        return answer.head | lists

    return found


def moved(answer) -> bool:
    (considered,) = answer["window"]["checks"]
    assert considered["moves_start"] is (answer["window"]["start"] == "2025-03-15T00:00:00Z")
    assert considered["why"]
    return considered["moves_start"]


def test_a_capable_check_moves_the_start_and_clears_what_came_before(window):
    answer = window()
    assert moved(answer)
    assert [one["certificate"] for one in answer["cleared"]] == ["C-1"]


def test_a_check_against_an_item_that_does_not_rest_on_the_faulty_one_is_independent(window):
    assert moved(window(against="OTHER"))


def test_a_check_against_the_faulty_item_itself_is_not_independent(window):
    assert not moved(window(against="REF"))


def test_a_check_against_what_was_calibrated_with_the_faulty_item_is_not_independent(window):
    assert not moved(window(cal("W-1", "WS", "03-01", [ref("REF")]), against="WS"))


def test_a_check_against_something_two_steps_below_is_not_independent(window):
    below = [cal("W-1", "WS", "03-01", [ref("REF")]), cal("V-1", "VS", "03-05", [ref("WS")])]
    assert not moved(window(*below, against="VS"))


def test_what_the_reference_rests_on_after_the_check_does_not_count(window):
    assert moved(window(cal("W-1", "WS", "04-01", [ref("REF")]), against="WS"))


@pytest.mark.parametrize(
    ("covers", "moves"),
    [(["10 kN"], True), (["9.99 kN"], False), (["2248.1 lbf"], False), (["10000.0 N"], True)],
)
def test_a_check_by_forces_covers_the_range_of_use(window, covers, moves):
    # REF was used at 10 kN only.
    assert moved(window(covers=covers)) is moves


def test_a_check_outside_the_window_is_not_weighed(window):
    assert window(at="2026-03-15T00:00:00Z")["window"]["checks"] == []


def test_a_recalibration_inside_the_window_is_noted_and_ends_nothing(window):
    inside = cal("R-1", "REF", "05-01", [])
    outside = cal("R-2", "REF", "2026-05-01T00:00:00Z", [])
    answer = window(inside, outside)
    (note,) = answer["notes"]
    assert "R-1" in note
    assert answer["window"]["end"] == "2025-12-31T00:00:00Z"


@pytest.mark.parametrize(
    ("changed", "moves"),
    [
        ({"result": "fail"}, False),
        ({"independent": False}, False),
        # 0.0004 + 0.0001 is the fault itself: such a check could have passed in spite of it.
        ({"acceptance_limit_rel": "0.0004"}, False),
        ({"acceptance_limit_rel": "0.000399999"}, True),
        ({"U_rel": "0.0002"}, False),
    ],
)
def test_a_check_that_could_have_passed_in_spite_of_the_fault_moves_nothing(window, changed, moves):
    assert moved(window(**changed)) is moves


def test_the_latest_capable_check_decides_and_all_are_told_by_time(window):
    answer = window(at="2025-04-15")
    # A bare date counts from its start.
    assert [one["at"] for one in answer["window"]["checks"]] == ["2025-04-15T00:00:00Z"]
    assert answer["window"]["start"] == "2025-04-15T00:00:00Z"
    assert answer["window"]["start_inclusive"] is False
    assert answer["window"]["end_inclusive"] is True
