"""Class tables as data: their form, the limits, and the two that come with the program."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from api.rules.exact import FieldError
from api.rules.uncertainty.classes import (
    CRITERIA,
    LowerLimits,
    class_begins,
    classify,
    lower_limits,
    shipped_tables,
    table_from_mapping,
)
from api.rules.uncertainty.runs import Figure

TABLE = {
    "id": "ours",
    "classes": ["fine", "coarse"],
    "criteria": [
        {"criterion": "zero", "at_most": ["0.1", "0.2"]},
        {"criterion": "reversibility", "at_most": ["0.3", "0.3"]},
        {"criterion": "resolution_ratio", "at_least": ["1000", "500"]},
    ],
    "cases": {"up": ["zero", "resolution_ratio"]},
    "lowest_share_pct": "2",
}
E74 = LowerLimits(Decimal("2.4"), (("AA", Decimal(2000)), ("A", Decimal(400))), 3, 30)


def figures(**values):
    made = {"zero": "0.05", "reversibility": "0.1", "resolution_ratio": "2000"} | values
    return {
        name: Figure(None, "not measured") if value is None else Figure(Fraction(value))
        for name, value in made.items()
    }


def judged(case=None, **values):
    return classify(table_from_mapping(TABLE), figures(**values), case)


def test_the_class_of_a_point_is_the_worst_of_its_criteria():
    assert judged().meets == "fine"
    assert judged(resolution_ratio="999").meets == "coarse"
    assert judged(zero="-0.15").meets == "coarse"  # magnitudes are compared


@pytest.mark.parametrize(
    "changes", [{"zero": "0.1"}, {"zero": "-0.1"}, {"resolution_ratio": "1000"}]
)
def test_a_limit_itself_is_inside(changes):
    assert judged(**changes).meets == "fine"


def test_a_point_outside_the_widest_class_has_none():
    found = judged(zero="0.2000001")
    assert (found.meets, found.worst_judged) == (None, None)
    assert found.reason == "outside every class: zero"


def test_a_criterion_that_was_not_measured_leaves_no_class_but_the_worst_of_the_others():
    found = judged(reversibility=None, zero="0.15")
    assert (found.meets, found.worst_judged) == (None, "coarse")
    assert found.reason == "not judged: reversibility"
    assert judged("up", reversibility=None, zero="0.15").meets == "coarse"


def test_a_criterion_that_cannot_apply_is_passed_over():
    given = figures() | {"reversibility": Figure(None, "starts here", applicable=False)}
    found = classify(table_from_mapping(TABLE), given)
    assert found.meets == "fine"
    assert [one.outcome for one in found.criteria] == ["met", "not_applicable", "met"]


def test_an_unknown_case_is_refused():
    with pytest.raises(FieldError, match="it has up"):
        judged("down")


def test_a_class_begins_where_every_point_above_meets_it():
    points = [
        (Decimal(1), judged()),
        (Decimal(10), judged(zero="0.15")),
        (Decimal(50), judged()),
        (Decimal(100), judged()),
    ]
    found = class_begins(table_from_mapping(TABLE), points)
    # 1 is below 2 % of 100.
    assert [(one.name, one.begins) for one in found] == [("fine", 50), ("coarse", 10)]
    points[-1] = (Decimal(100), judged(zero="1"))
    found = class_begins(table_from_mapping(TABLE), points)
    assert [one.begins for one in found] == [None, None]
    assert "100" in found[0].reason


@pytest.mark.parametrize(("lowest", "begins"), [("50", "50"), ("50.1", None)])
def test_a_class_holds_nowhere_unless_it_holds_far_enough_down(lowest, begins):
    # ISO 376, from memory: the range of a class covers at least 50 % to 100 % of the largest force.
    points = [(Decimal(force), judged()) for force in (lowest, "100")]
    points.append((Decimal(10), judged(zero="1")))
    ours = class_begins(table_from_mapping(TABLE | {"must_reach_pct": "50"}), points)
    assert [one.begins for one in ours] == [begins and Decimal(begins)] * 2
    assert begins or ours[0].reason == "it would begin at 50.1, above 50 % of 100"
    without = class_begins(table_from_mapping(TABLE), points)
    assert [one.begins for one in without] == [Decimal(lowest)] * 2


def test_a_criterion_may_ask_for_rotations():
    turned = TABLE["criteria"][0] | {"minimum_rotations": 3}
    table = table_from_mapping(TABLE | {"criteria": [turned, *TABLE["criteria"][1:]]})
    assert classify(table, figures(), None, 3).meets == "fine"
    assert classify(table, figures(), None, 2).reason == "not judged: zero"


def test_the_lower_limit_factor_has_its_check_value():
    # ASTM E74 from memory; the arithmetic is the project's: 2.4 x 0.0021 = 0.00504, x 2000, x 400.
    limit, found = lower_limits(E74, Decimal("0.0021"), (Decimal(1), Decimal(100)), 3, 30)
    assert limit == Decimal("0.00504")
    assert [one.begins for one in found] == [Decimal("10.08"), Decimal("2.016")]


def test_a_class_begins_at_the_lowest_force_applied_at_the_earliest_and_not_above_the_largest():
    _, found = lower_limits(E74, Decimal("0.0021"), (Decimal(5), Decimal(10)), 3, 30)
    assert [one.begins for one in found] == [None, Decimal(5)]
    assert "above 10" in found[0].reason


def test_another_factor_may_be_asked_for():
    limit, _ = lower_limits(
        E74, Decimal("0.001"), (Decimal(1), Decimal(9)), 3, 30, factor=Decimal(2)
    )
    assert limit == Decimal("0.002")


@pytest.mark.parametrize(
    ("scatter", "series", "readings", "why"),
    [
        (None, 3, 30, "no fitted curve"),
        (Decimal("0.001"), 2, 30, "3 series"),
        (Decimal("0.001"), 3, 29, "30 readings"),
    ],
)
def test_too_few_readings_give_no_class(scatter, series, readings, why):
    limit, found = lower_limits(E74, scatter, (Decimal(1), Decimal(100)), series, readings)
    assert all(one.begins is None and why in one.reason for one in found)
    assert (limit is None) == (scatter is None)


def test_the_tables_that_come_along_say_that_they_are_from_memory():
    tables = shipped_tables()
    assert list(tables) == ["astm_e4", "astm_e74", "iso_376_2011", "iso_7500_1_2018"]
    for table in tables.values():
        assert table.content["source"] == "from memory, verify"
        assert table.content["edition"]
    judged = {name: {one.criterion for one in table.limits} for name, table in tables.items()}
    assert set().union(*judged.values()) == set(CRITERIA)
    assert judged["iso_376_2011"].isdisjoint({"accuracy", "largest_error", "resolution"})
    assert tables["iso_376_2011"].cases.keys() == {"A", "B", "C", "D"}
    assert tables["astm_e74"].lower_limits == replace(E74, not_below_resolution=True)
    assert tables["iso_376_2011"].must_reach_pct == 50


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"criteria": []}, ""),
        ({"classes": ["fine", "fine"]}, "/classes"),
        ({"criteria": [{"criterion": "zero"}]}, "/criteria/0"),
        ({"criteria": [{"criterion": "zero", "at_most": ["1"]}]}, "/criteria/0/at_most"),
        ({"criteria": [{"criterion": "zero", "at_most": ["2", "1"]}]}, "/criteria/0/at_most"),
        ({"criteria": [{"criterion": "zero", "at_least": ["1", "2"]}]}, "/criteria/0/at_least"),
        ({"criteria": TABLE["criteria"][:1] * 2}, "/criteria"),
        ({"cases": {"up": ["creep"]}}, "/cases/up"),
    ],
)
def test_a_table_that_judges_nothing_is_refused(changes, place):
    with pytest.raises(FieldError) as refused:
        table_from_mapping(TABLE | changes)
    assert refused.value.field == place
