"""What a certificate states: results decided by their rule, overall by stage, one statement.

That a statement names results, specification and rule: ISO/IEC 17025:2017, 7.8.6.2, from memory.

Limits are +-0.01 kN at U 0.002 kN under the rule with a guard band of U (ILAC-G8:09/2019, 4.2.2):
accepted to 0.01 - 0.002 = 0.008.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from oracle_cases import cal, lab, percent, ref, row

from api.schemas.imports import LaboratorySchema
from api.services.certificates.statements import by_place, overall, rows, statement
from api.services.decisions.decision_rules import record_rule
from api.services.imports.imports import import_laboratory
from api.services.records.revisions import choose


@pytest.fixture
def stated(database):
    """Rows of one certificate with these results."""

    def found(*results):
        made = lab(cal("C-1", "A", "02-01", [ref("REF")], list(results)))
        with database.write() as session:
            import_laboratory(session, LaboratorySchema().load(made), 0)
            return rows(session, choose(session, "C-1").id)

    return found


def test_the_verdict_is_what_the_rule_says_whatever_was_reported(stated):
    found = stated(
        row("10", "0.008"),
        row("10", "0.0081", point=2),
        row("10", "0.0081", point=3, verdict_reported="pass"),
    )
    assert [one.decided for one in found] == ["pass", "fail", "fail"]
    assert [one.verdict for one in found] == ["pass", "fail", "fail"]
    assert [one.contradicted for one in found] == [False, False, True]
    assert "Reported otherwise than the rule decides: pass at point 3." in statement(found)
    assert found[0].rule == "guard_U, version 1: guard band w = U"


TUR = {"id": "tur", "guard": {"basis": "none"}, "precondition": {"least_tur": "4"}}
TUR["otherwise"] = {"guard": {"basis": "U", "factor": "1"}, "precondition": {"least_tur": "2"}}


@pytest.fixture
def by_tur(database, stated):
    """The same, decided simply from TUR 4 on, guarded from TUR 2 on: 0.02 / (2 U)."""

    def found(*results):
        with database.write() as session:
            record_rule(session, TUR, 0)
        return stated(*({**one, "rule": "tur"} for one in results))

    return found


def test_what_its_rule_cannot_judge_is_named_with_the_reason(by_tur):
    told = statement(
        by_tur(
            row("10", "0.001"),
            row("20", "0.001", point=2, tolerance={"upper": "0.01"}),
            {name: value for name, value in row("30", point=3).items() if name != "U"},
        )
    )
    assert "No statement of conformity is made for point 2: its decision rule needs both" in told
    assert "No statement of conformity is made for point 3: its uncertainty is not rec" in told


def test_results_without_a_statement_are_named_apart_with_the_reason(by_tur):
    found = by_tur(
        row("10", "0.009"),  # TUR 0.02 / 0.004 = 5
        row("20", "0.009", point=2, U="0.003"),  # TUR 3.33: accepted to 0.01 - 0.003 = 0.007
        row("30", "0.001", point=3, U="0.006"),  # TUR 1.67
        row("40", "0.001", point=4, U="0.008"),  # TUR 1.25
    )
    assert [one.decided for one in found] == ["pass", "fail", "no_statement", "no_statement"]
    assert overall(found) == {"single": "fail"}
    assert overall(found[2:] + found[:1]) == {"single": "no_statement"}
    rule = (
        "Decision rule: tur, version 1: simple acceptance, no guard band, if TUR is at least 4; "
        "else guard band w = U, if TUR is at least 2; else no statement."
    )
    apart = (
        "By its rule no statement of conformity is made for points 3 and 4: TUR 1.667 is below 4 "
        "and TUR 1.667 is below 2 at point 3; TUR 1.25 is below 4 and TUR 1.25 is below 2 at "
        "point 4."
    )
    limits = "Specification: the limits recorded with each result."
    assert statement(found) == (
        "At least one result does not meet its specification (not met at point 2; met at point 1, "
        f"10 to 20 kN). Decided by branch 1 at point 1; by branch 2 at point 2. {apart} {limits} "
        f"{rule}"
    )
    assert statement(found[2:]) == f"{apart} {limits} {rule}"
    assert not any(one.stated for one in found[2:])


def test_each_stage_has_its_own_outcome_with_and_without_a_statement(by_tur):
    found = by_tur(
        row("10", "0.001", stage="as_found", U="0.008"),
        row("10", "0.001", stage="as_left"),
    )
    assert overall(found) == {"as_found": "no_statement", "as_left": "pass"}
    told = statement(found)
    assert told.startswith("As found: by its rule no statement of conformity is made for point 1:")
    assert "As left: every result meets its specification (point 1). Decided by branch 1" in told


def test_numbers_stand_with_their_limits_in_the_unit_of_the_error(stated):
    absolute, relative = stated(row("10", "0.001"), percent("0.05", point="a", applied="20",
                                                            unit="kN"))  # fmt: skip
    assert (absolute.unit, absolute.applied, absolute.error, absolute.U) == (
        *("kN", "10", "0.001", "0.002"),
    )
    assert (absolute.lower, absolute.upper) == ("-0.01", "0.01")
    assert (relative.point, relative.unit, relative.error, relative.upper) == (
        *("a", "%", "0.05", "0.1"),
    )


def test_nothing_is_invented_where_nothing_is_recorded(stated):
    (one,) = stated({"point": 1, "unit": "kN", "applied": "10"})
    assert (one.error, one.U, one.lower, one.upper, one.verdict, one.rule) == (None,) * 6
    assert statement([one]) == "No statement of conformity is made for point 1."
    assert statement([]) is None
    assert (overall([one]), overall([])) == ({"single": None}, {})


def test_as_found_and_as_left_are_both_stated_and_each_by_its_worst_point(stated):
    found = stated(
        row("10", "0.02", stage="as_found"),
        row("20", "0", point=2, stage="as_found"),
        row("10", "0", stage="as_left"),
        row("20", "0", point=2, stage="as_left"),
    )
    assert overall(found) == {"as_found": "fail", "as_left": "pass"}
    assert statement(found) == (
        "As found: at least one result does not meet its specification "
        "(not met at point 1; met at point 2, 10 to 20 kN). "
        "As left: every result meets its specification (points 1 and 2, 10 to 20 kN). "
        "Specification: the limits recorded with each result. "
        "Decision rule: guard_U, version 1: guard band w = U."
    )


def test_a_result_is_found_again_by_its_place_in_the_record(stated):
    found = stated(row("10", "0"), row("20", "0", point="b"))
    points = [{"point": 1, "stage": "single"}, {"point": "b", "stage": "single"}]
    assert by_place(found, points) == found
    # Anything else is nobody's: in another order, one short, of another stage.
    assert by_place(found, points[::-1]) == [None, None]
    assert by_place(found, points[:1]) == [None]
    assert by_place(found, [points[0], points[1] | {"stage": "as_left"}]) == [None, None]


def test_where_nothing_meets_its_specification_that_is_said(stated):
    found = stated(row("10", "0.02"), row("20", "0.02", point=2))
    assert statement(found).startswith(
        "No result meets its specification (not met at points 1 and 2, 10 to 20 kN)."
    )


def test_results_that_are_not_judged_are_not_said_to_meet_anything(stated):
    # Point 2 has neither limits nor rule.
    bare = {"point": 2, "unit": "kN", "applied": "20", "error": "0"}
    found = stated(row("10", "0"), bare)
    said = statement(found)
    assert said.startswith(
        "The result judged meets its specification (point 1). "
        "No statement of conformity is made for point 2. "
    )
    assert "very result" not in said
    # The open point could still fail; one that fails already settles the worst.
    assert overall(found) == {"single": None}
    assert overall(stated_again(found, "fail")) == {"single": "fail"}


def stated_again(found, decided):
    return [replace(found[0], decided=decided), *found[1:]]


def test_a_verdict_reported_without_a_rule_is_told_as_reported(stated):
    bare = {"point": 2, "unit": "kN", "applied": "20", "error": "0", "verdict_reported": "pass"}
    said = statement(stated(row("10", "0"), row("15", "0", point=3), bare))
    assert said.startswith(
        "The results judged meet their specification (points 1 and 3, 10 to 15 kN). "
        "Reported, and decided by no recorded rule: pass at point 2. "
    )


def test_every_verdict_is_told_with_its_points(stated):
    # T 0.01, U 0.002, four zones (edges 0.008, 0.01, 0.012).
    errors = {1: "0", 2: "0.001", 3: "0.002", 5: "0.009", 6: "0.011", 7: "0.02", "8a": "0.0121"}
    found = stated(
        *(row("10", error, point=point, rule="four_state_U") for point, error in errors.items())
    )
    assert overall(found) == {"single": "fail"}
    assert (
        "(not met at points 7 and 8a; not met, on condition at point 6; met on condition at "
        "point 5; met at points 1 to 3, 10 kN)"
    ) in statement(found)
    assert "on condition only (met on condition at point 5; met at" in statement(found[:4])


def test_points_of_one_name_are_told_apart_by_their_direction(stated):
    found = stated(
        row("10", "0", direction="increasing"), row("10", "0.02", direction="decreasing")
    )
    assert "not met at point 1 (decreasing); met at point 1 (increasing)" in statement(found)
