"""What a certificate states: verdicts reported, or as the recorded rule says, and its sentences.

Limits are +-0.01 kN at U 0.002 kN under the rule with a guard band of U (ILAC-G8:09/2019, 4.2.2):
accepted to 0.01 - 0.002 = 0.008.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, percent, ref, row

from api.schemas.imports import LaboratorySchema
from api.services.certificates.statements import by_place, rows, sentences
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


def test_a_verdict_that_was_not_reported_is_what_the_rule_says_and_a_reported_one_stays(stated):
    found = stated(
        row("10", "0.008"),
        row("10", "0.0081", point=2),
        row("10", "0.0081", point=3, verdict_reported="pass"),
    )
    assert [one.verdict for one in found] == ["pass", "fail", "pass"]
    assert found[0].rule == "guard_U, version 1: guard band w = U"


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
    (sentence,) = sentences([one])
    assert "no statement of conformity" in sentence.lower()


def test_each_stage_has_a_sentence_that_tells_the_worst_of_it(stated):
    found = stated(
        row("10", "0.02", stage="as_found"),
        row("20", "0", point=2, stage="as_found"),
        row("10", "0", stage="as_left"),
        row("20", "0", point=2, stage="as_left"),
    )
    as_found, as_left = sentences(found)
    assert as_found.startswith("As found: at least one result does not meet its specification")
    assert as_left.startswith("As left: every result meets its specification")
    for sentence in (as_found, as_left):
        assert "2 results at 10 to 20 kN" in sentence
        assert "guard_U, version 1: guard band w = U" in sentence


def test_a_result_is_found_again_by_its_place_in_the_record(stated):
    found = stated(row("10", "0"), row("20", "0", point="b"))
    points = [{"point": 1, "stage": "single"}, {"point": "b", "stage": "single"}]
    assert by_place(found, points) == found
    # Anything else is nobody's: in another order, one short, of another stage.
    assert by_place(found, points[::-1]) == [None, None]
    assert by_place(found, points[:1]) == [None]
    assert by_place(found, [points[0], points[1] | {"stage": "as_left"}]) == [None, None]


def test_a_sentence_says_how_many_results_it_covers(stated):
    bare = {"point": 2, "unit": "kN", "applied": "20", "error": "0"}
    (sentence,) = sentences(stated(row("10", "0"), bare))
    assert "1 of 2 results are judged" in sentence
