"""What one fault does at each point: suspect uses and what other items carry, added."""

from __future__ import annotations

from fractions import Fraction

import pytest
from graph_records import DAY, cal, point, use

from graph.effects import Carried, effects_at_points
from graph.faults import (
    NO_EFFECT,
    UNKNOWN,
    Effect,
    ForceError,
    ForceOffset,
    Only,
    Segment,
    SegmentedForceError,
    UnderstatedUncertainty,
)
from graph.passing import UNKNOWN_EVERYWHERE, Curve, Passed

F = Fraction
ALL = Effect(F("0.001"), F(1))
CARRIED = Passed(ALL)
FAULT = ForceError(item="REF", start_us=0, end_us=DAY, delta_rel=F("0.002"))
POINTS = (point(0, "0"), point(1, "10"), point(2, "20"))


def effects(*carried, suspect=(), fault=FAULT, points=POINTS):
    uses = (*suspect, *(used for used, *_ in carried))
    given = [Carried(*one) for one in carried]
    return effects_at_points(fault, cal(1, *uses, points=points), suspect, given)


def test_one_effect_everywhere_is_one_object_at_every_force_but_zero():
    found = effects((use("WS"), CARRIED))
    assert found == (NO_EFFECT, ALL, ALL)
    assert found[1] is found[2] is ALL


def test_weights_apply_and_deltas_add_up():
    # 0.002 of the fault, and half of the 0.001 that WS carries
    found = effects((use("WS", weight="0.5"), CARRIED), suspect=(use("REF"),))
    assert found == (NO_EFFECT, *[Effect(F("0.0025"), F("1.5"))] * 2)


def test_what_depends_on_the_force_is_worked_out_point_by_point():
    slope = Passed(None, Curve((F(10_000), F(20_000)), (ALL, NO_EFFECT)))
    assert effects((use("WS"), slope)) == (NO_EFFECT, ALL, NO_EFFECT)
    segments = (Segment(None, F(15_000), F("0.003")), Segment(F(15_000), None, F(0)))
    fault = SegmentedForceError(item="REF", start_us=0, end_us=DAY, segments=segments)
    found = effects(suspect=(use("REF"),), fault=fault)
    assert found == (NO_EFFECT, Effect(F("0.003"), F(1)), NO_EFFECT)
    # Of what rests on it through WS the segments ask nothing more.
    assert effects((use("WS"), CARRIED), fault=fault) == (NO_EFFECT, ALL, ALL)


def test_a_use_counts_at_the_points_that_it_served():
    assert effects((use("WS", points=frozenset("1")), CARRIED)) == (NO_EFFECT, ALL, NO_EFFECT)
    by_point = use("WS", weight={"0": F(1), "1": F("0.5"), "2": F(1)})
    half = Effect(F("0.0005"), F("0.5"))
    assert effects((by_point, CARRIED)) == (NO_EFFECT, half, ALL)


def test_an_unknown_effect_leaves_the_sum_unknown_but_at_zero_force():
    found = effects((use("WS"), CARRIED), (use("WX"), UNKNOWN_EVERYWHERE))
    assert found == (NO_EFFECT, UNKNOWN, UNKNOWN)
    assert effects((use("WX", weight="0"), UNKNOWN_EVERYWHERE)) == (NO_EFFECT,) * 3


def test_at_zero_force_alone_nothing_moves_and_without_points_nothing_is_said():
    assert effects((use("WS"), CARRIED), points=(point(1, "0"),)) == (NO_EFFECT,)
    assert effects((use("WS"), CARRIED), points=()) == ()


def test_a_part_carries_its_share_of_the_force_and_of_the_effect():
    # At 10 kN the part carries 2.5 kN, a quarter; 0.25 x 0.001 of the curve at its lower end, held.
    # At 20 kN it carries 5 kN, half way up the curve: 0.25 x (0.001 + 0.003)/2.
    curve = Curve((F(2_500), F(7_500)), (ALL, Effect(F("0.003"), F(1))))
    found = effects((use("RIG"), Passed(None, curve), F("0.25")))
    assert found[1] == Effect(F("0.00025"), F("0.25"))
    assert found[2] == Effect(F("0.0005"), F("0.25"))


def test_what_nobody_can_say_of_a_part_is_unknown_where_the_assembly_served():
    assert effects((use("RIG", points=frozenset("1")), None)) == (NO_EFFECT, UNKNOWN, NO_EFFECT)


def test_a_fault_of_uncertainty_alone_counts_by_weight_though_its_delta_is_zero():
    # Twice 0.5 of one fault that is fully correlated with itself: W = 1, delta = 0.
    fault = UnderstatedUncertainty(item="REF", start_us=0, end_us=DAY, added=F("0.0000001"))
    halves = (use("REF", weight="0.5"), use("REF", role="other", weight="0.5"))
    found = effects(suspect=halves, fault=fault)
    assert found == (NO_EFFECT, *[Effect(F(0), F(1))] * 2)
    opposed = (use("REF"), use("REF", role="other", weight="-1"))
    assert effects(suspect=opposed, fault=fault) == (NO_EFFECT, *[Effect(F(0), F(0))] * 2)


def test_an_offset_is_a_force_and_its_share_falls_as_the_force_rises():
    # 2 N of 10 kN and of 20 kN; W by force: 1/10000 and 1/20000 per newton.
    fault = ForceOffset(item="REF", start_us=0, end_us=DAY, delta_n=F(2))
    found = effects(suspect=(use("REF"),), fault=fault)
    assert found == (
        NO_EFFECT,
        Effect(F("0.0002"), F(1, 10_000)),
        Effect(F("0.0001"), F(1, 20_000)),
    )


@pytest.mark.parametrize(
    ("only", "mode", "expected"),
    [
        (Only(mode="tension"), "tension", ["0.002", "0.002"]),
        (Only(mode="tension"), None, [None, None]),
        (Only(directions=frozenset(["increasing"])), None, ["0.002", "0"]),
    ],
)
def test_a_fault_that_is_limited_has_no_effect_beyond_and_an_unknown_one_without_record(
    only, mode, expected
):
    fault = ForceError(item="REF", start_us=0, end_us=DAY, delta_rel=F("0.002"), only=only)
    points = (
        point(1, "10")._replace(direction="increasing"),
        point(2, "20")._replace(direction="decreasing"),
    )
    used = (use("REF"),)
    calibration = cal(1, *used, points=points)._replace(mode=mode)
    found = effects_at_points(fault, calibration, used, [])
    assert [one.delta for one in found] == [None if e is None else F(e) for e in expected]
