"""Which uses are suspect, and the first reason that clears the others."""

from __future__ import annotations

from fractions import Fraction

import pytest
from graph_records import DAY, cal, point, use

from graph.faults import ForceError, Segment, SegmentedForceError, WrongCorrectionFactor
from graph.model import Holder, Holding
from graph.suspects import NOT_EXPOSED, SuspectWindow, expose

OPEN = {"item": "REF", "start_us": 0, "end_us": 20 * DAY}
FAULT = ForceError(**OPEN, delta_rel=Fraction("0.001"))
PIN = ForceError(**OPEN | {"item": "PIN"}, delta_rel=Fraction("0.001"))
HELD = Holding("ADP", "PIN", 5 * DAY, 15 * DAY)


def exposure(fault, *uses, holders=(), **more):
    return expose(cal(1, *uses, **more), SuspectWindow(fault, fault.window(), tuple(holders)))


def test_a_use_inside_the_window_is_suspect_and_gives_a_path():
    found = exposure(FAULT, use(), use("OTHER"))
    assert found.uses == (use(),)
    assert found.paths == (("REF", "C-1"),)
    assert found.cleared == set()


def test_a_use_outside_the_window_is_cleared():
    found = exposure(FAULT, use(day=30))
    assert (found.uses, found.cleared) == ((), {"window"})


def test_a_calibration_that_never_used_the_item_is_not_met():
    assert exposure(FAULT, use("OTHER")) == NOT_EXPOSED


@pytest.mark.parametrize(
    ("channel", "paths", "cleared"),
    [
        ("A", (("REF:A", "force_reference", "C-1"),), set()),
        ("B", (), {"channel"}),
        (None, (("REF:A", "force_reference", "C-1"),), set()),
    ],
)
def test_a_channel_is_written_with_the_role(channel, paths, cleared):
    fault = ForceError(**OPEN, channel="A", delta_rel=Fraction("0.001"))
    found = exposure(fault, use(channel=channel))
    assert (found.paths, found.cleared) == (paths, cleared)


def test_a_part_is_met_through_the_assembly_that_held_it_then():
    holders = [Holder(("ADP",), (HELD,))]
    assert exposure(PIN, use("ADP", 10), holders=holders).paths == (("PIN", "ADP", "C-1"),)
    assert exposure(PIN, use("ADP", 15), holders=holders).cleared == {"part"}
    assert exposure(PIN, use("ADP-9", 10), holders=holders) == NOT_EXPOSED


def test_a_part_that_got_there_in_two_ways_gives_two_paths():
    holders = [
        Holder(("CLV-1", "ADP"), (HELD,)),
        Holder(("CLV-2", "ADP"), (HELD,)),
    ]
    found = exposure(PIN, use("ADP", 10), holders=holders)
    assert found.paths == (("PIN", "CLV-1", "ADP", "C-1"), ("PIN", "CLV-2", "ADP", "C-1"))
    assert len(found.uses) == 1


def test_the_record_of_a_factor_goes_before_the_window():
    fault = WrongCorrectionFactor(**OPEN, factor_applied=Fraction("0.8"), factor_right=Fraction(1))
    assert exposure(fault, use(day=30, factor_applied=Fraction("0.8"))).paths
    assert exposure(fault, use(factor_applied=Fraction(1))).cleared == {"record"}
    assert exposure(fault, use(day=30)).cleared == {"window"}


def test_the_window_goes_before_the_range():
    segments = (Segment(None, Fraction(20_000), Fraction(0)),)
    fault = SegmentedForceError(**OPEN, segments=segments)
    assert exposure(fault, use()).cleared == {"range"}
    assert exposure(fault, use(day=30)).cleared == {"window"}
    assert exposure(fault, use(), points=[point(kn="25")]).uses


def test_each_use_of_a_calibration_is_judged_by_itself():
    found = exposure(FAULT, use(day=10), use(day=30))
    assert (len(found.uses), found.cleared) == (1, {"window"})
