"""A fault drafted from a standard's own failed as-found calibration.

An instrument that reads e high made the true force too small by delta = 1/(1 + e) - 1.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from oracle_cases import cal, lab, percent, row

from api.errors import InvalidRecord, NotFound
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.fault_drafts import draft


@pytest.fixture
def drafted(database):
    """Draft of the fault that S-2 shows, a calibration of STD on 1 June."""

    def made(*results, before=None, **more):
        earlier = [cal("S-1", "STD", "01-10", [])] if before is None else before
        laboratory = lab(*earlier, cal("S-2", "STD", "06-01", [], list(results), **more))
        with database.write() as session:
            import_laboratory(session, LaboratorySchema().load(laboratory), 0)
            return draft(session, "S-2", None, None)

    return made


def found(applied, error, point=1, **more):
    return row(applied, error, point=point, stage="as_found", **more)


def edges(fault):
    return [(one["above_kN"], one["up_to_kN"]) for one in fault["segments"]]


def test_segments_meet_half_way_between_the_forces_from_zero_on_without_an_upper_end(drafted):
    # (10 + 20)/2 = 15 and (20 + 50)/2 = 35; the order of the record does not matter.
    fault = drafted(found("50", "0", 3), found("10", "0", 1), found("20", "0", 2))["fault"]
    assert edges(fault) == [("0", "15"), ("15", "35"), ("35", None)]


def test_the_errors_before_adjustment_become_the_fault_and_those_after_do_not(drafted):
    # e = 2.5/10 = 1/4: 1/(1.25) - 1 = -0.2
    fault = drafted(found("10", "2.5"), row("10", "0", stage="as_left"))["fault"]
    assert [one["delta_rel"] for one in fault["segments"]] == ["-0.2"]
    assert (fault["item"], fault["kind"]) == ("STD", "true_force_relative_error")


def test_several_results_at_one_force_count_with_their_mean(drafted):
    # (0.2 + 0.3)/2/10 = 0.025: 1/1.025 - 1 = -1/41; forces of different units meet in newton.
    fault = drafted(found("10", "0.2"), found("10000", "300", 2, unit="N", U="2"))["fault"]
    (segment,) = fault["segments"]
    assert float(segment["delta_rel"]) == pytest.approx(float(Fraction(-1, 41)), rel=1e-11)


def test_relative_errors_are_taken_as_they_are(drafted):
    # -20 %: 1/0.8 - 1 = 0.25; U 0.04 % at k = 4 is 0.0002 at k = 2.
    result = percent("-20", stage="as_found", applied="10", unit="kN", U_rel_pct="0.04", k="4")
    fault = drafted(result)["fault"]
    assert fault["segments"] == [{"above_kN": "0", "up_to_kN": None, "delta_rel": "0.25"}]
    assert (fault["U_delta_rel"], fault["U_delta_k"]) == ("0.0002", "2")


def test_the_largest_relative_uncertainty_holds_and_none_where_one_is_missing(drafted):
    # 0.003/10 = 0.0003 is more than 0.004/20 = 0.0002
    fault = drafted(found("10", "0.1", U="0.003"), found("20", "0.1", 2, U="0.004"))["fault"]
    assert fault["U_delta_rel"] == "0.0003"


def test_one_result_without_uncertainty_leaves_that_of_the_fault_out(drafted):
    bare = {"point": 2, "stage": "as_found", "unit": "kN", "applied": "20", "error": "0.1"}
    assert "U_delta_rel" not in drafted(found("10", "0.1"), bare)["fault"]


def test_the_window_goes_back_to_the_latest_issued_calibration_before(drafted):
    before = [
        cal("S-0", "STD", "01-10", []),
        cal("S-1", "STD", "02-10", []),
        cal("S-X", "STD", "03-10", [], status="voided"),
        cal("O-1", "OTHER", "04-10", []),
        cal("S-3", "STD", "09-10", []),
    ]
    made = drafted(found("10", "0.1"), before=before)
    assert made["fault"]["last_good_at"] == "2025-02-10T10:00:00Z"
    assert made["fault"]["isolated_at"] == "2025-06-01T10:00:00Z"
    assert any("S-1" in note for note in made["notes"])


def test_without_a_calibration_before_the_window_has_no_start_and_a_note_says_so(drafted):
    made = drafted(found("10", "0.1"), before=(), status="draft")
    assert made["fault"]["last_good_at"] is None
    assert any("no start" in note for note in made["notes"])
    assert "S-2 is draft" in made["notes"]


@pytest.mark.parametrize(
    "results",
    [
        [],
        [row("10", "0.1", stage="as_left")],
        [found("0", "0.1")],  # an error at no force is no relative one
        [{"point": 1, "stage": "as_found", "unit": "kN", "applied": "10"}],
        [{"point": 1, "stage": "as_found", "error_rel_pct": "0.1"}],
    ],
)
def test_without_as_found_results_with_force_and_error_there_is_no_draft(drafted, results):
    with pytest.raises(InvalidRecord) as refused:
        drafted(*results)
    (issue,) = refused.value.issues
    assert (issue.pointer, issue.value) == ("/certificate", "S-2")
    assert issue.remedy


def test_a_certificate_that_is_not_recorded_is_not_found(database):
    with database.read() as session, pytest.raises(NotFound, match="S-9"):
        draft(session, "S-9", None, None)
