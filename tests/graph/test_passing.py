"""What a calibrated item passes on at another force."""

from __future__ import annotations

from fractions import Fraction

import pytest
from graph_records import cal, point

from graph.faults import NO_EFFECT, UNKNOWN, Effect
from graph.passing import passed_on

F = Fraction


def effects(*deltas, weights=None):
    found = weights or ["1"] * len(deltas)
    return [
        UNKNOWN if delta is None else Effect(F(delta), F(weight))
        for delta, weight in zip(deltas, found, strict=True)
    ]


def passed(points, *deltas, weights=None):
    return passed_on(cal(1, points=points), effects(*deltas, weights=weights))


def test_the_effect_is_linear_between_points_and_held_beyond_them():
    found = passed([point(1, "10"), point(2, "20")], "0.001", "0.003", weights=["1", "0.5"])
    # Half way: (0.001 + 0.003)/2 and (1 + 0.5)/2
    assert found.at(F(15_000)) == Effect(F("0.002"), F("0.75"))
    assert found.at(F(10_000)) == found.at(F(1)) == Effect(F("0.001"), F(1))
    assert found.at(F(20_000)) == found.at(F(90_000)) == Effect(F("0.003"), F("0.5"))
    assert found.at(F(0)) == NO_EFFECT
    assert found.at(None) == UNKNOWN


def test_one_effect_everywhere_serves_a_point_without_force_too():
    found = passed([point(1, "10"), point(2, "20")], "0.001", "0.001")
    assert found.at(None) == found.at(F(7)) == Effect(F("0.001"), F(1))
    assert found.at(F(0)) == NO_EFFECT


@pytest.mark.parametrize(
    ("stages", "expected"),
    [
        (["as_found", "as_left", "single"], "0.002"),
        (["as_found", "single", "single"], "0.0025"),
        (["as_found", "as_found", "as_found"], "0.002"),
    ],
)
def test_the_best_stage_gives_the_values(stages, expected):
    # Three rows at one force with 0.001, 0.002 and 0.003; rows of one stage are averaged.
    points = [point(n, stage=stage) for n, stage in enumerate(stages)]
    assert passed(points, "0.001", "0.002", "0.003").at(F(10_000)).delta == F(expected)


def test_rows_at_one_force_are_averaged_and_zero_is_left_out():
    points = [point(0, "0"), point(1, "10"), point(2, "10"), point(3, "20")]
    found = passed(points, "0", "0.001", "0.003", "0.004")
    # At 10 kN (0.001 + 0.003)/2 = 0.002; half way to 0.004 it is 0.003
    assert found.at(F(10_000)).delta == F("0.002")
    assert found.at(F(15_000)).delta == F("0.003")
    assert found.at(F(5_000)).delta == F("0.002")


def test_one_unknown_point_makes_all_unknown():
    found = passed([point(1, "10"), point(2, "20")], "0.001", None)
    assert found.at(F(10_000)) == UNKNOWN
    assert found.at(F(0)) == NO_EFFECT


def test_different_effects_without_forces_cannot_be_placed():
    assert passed([point(1, None), point(2, "20")], "0.001", "0.002").at(F(10_000)) == UNKNOWN


def test_a_calibration_without_results_passes_on_what_nobody_knows():
    assert passed([]).at(F(10_000)) == UNKNOWN


def test_directions_are_kept_apart_and_meet_only_where_they_agree():
    # Up: 0.001 at 10 and 20 kN; down: 0.001 at 10, 0.003 at 20 kN.
    points = [
        point(1, "10")._replace(direction="increasing"),
        point(2, "20")._replace(direction="increasing"),
        point(3, "10")._replace(direction="decreasing"),
        point(4, "20")._replace(direction="decreasing"),
    ]
    found = passed(points, "0.001", "0.001", "0.001", "0.003")
    assert found.at(F(20_000), "increasing").delta == F("0.001")
    assert found.at(F(20_000), "decreasing").delta == F("0.003")
    assert found.at(F(15_000), "decreasing").delta == F("0.002")
    assert found.at(F(10_000)).delta == F("0.001")
    assert found.at(F(20_000)) == UNKNOWN


def test_a_direction_that_was_not_calibrated_takes_the_points_without_one_then_all():
    up = point(1, "10")._replace(direction="increasing")
    without = passed([up, point(2, "10")], "0.001", "0.003")
    assert without.at(F(10_000), "decreasing").delta == F("0.003")
    alone = passed([up, point(2, "20")._replace(direction="increasing")], "0.001", "0.003")
    assert alone.at(F(15_000), "decreasing").delta == F("0.002")


def test_a_wrong_force_is_carried_as_a_force():
    # 2 N at 10 kN and 6 N at 20 kN: 4 N at 15 kN, of which 4/15000; below 10 kN 2 N are held.
    points = [point(1, "10"), point(2, "20")]
    found = passed_on(cal(1, points=points), effects("0.0002", "0.0003"), by_force=True)
    assert found.at(F(15_000)).delta == F(4, 15_000)
    assert found.at(F(5_000)).delta == F(2, 5_000)
    assert found.at(F(0)) == NO_EFFECT
