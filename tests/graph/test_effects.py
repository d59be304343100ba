"""What one fault does at each point: suspect uses and what other items carry, added."""

from __future__ import annotations

from fractions import Fraction

from graph_records import DAY, cal, point, use

from graph.effects import effects_at_points
from graph.faults import NO_EFFECT, UNKNOWN, Effect, ForceError, Segment, SegmentedForceError
from graph.passing import UNKNOWN_EVERYWHERE, Passed

F = Fraction
ALL = Effect(F("0.001"), F(1))
CARRIED = Passed((), (), ALL)
FAULT = ForceError(item="REF", start_us=0, end_us=DAY, delta_rel=F("0.002"))
POINTS = (point(0, "0"), point(1, "10"), point(2, "20"))


def effects(*carried, suspect=(), fault=FAULT, points=POINTS):
    uses = (*suspect, *(used for used, _ in carried))
    return effects_at_points(fault, cal(1, *uses, points=points), suspect, carried)


def test_one_effect_everywhere_is_one_object_at_every_force_but_zero():
    found = effects((use("WS"), CARRIED))
    assert found == (NO_EFFECT, ALL, ALL)
    assert found[1] is found[2] is ALL


def test_weights_apply_and_deltas_add_up():
    # 0.002 of the fault, and half of the 0.001 that WS carries
    found = effects((use("WS", weight="0.5"), CARRIED), suspect=(use("REF"),))
    assert found == (NO_EFFECT, *[Effect(F("0.0025"), F("1.5"))] * 2)


def test_what_depends_on_the_force_is_worked_out_point_by_point():
    slope = Passed((F(10_000), F(20_000)), (ALL, NO_EFFECT), None)
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
