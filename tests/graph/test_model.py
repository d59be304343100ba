"""The vocabulary: weights by point, windows, holdings and chains of holdings."""

from __future__ import annotations

from fractions import Fraction

import pytest
from graph_records import DAY, at, point, use, whole

from graph.model import Holder, Holding, Window


def test_a_weight_holds_at_every_point_the_use_served():
    assert use(weight="0.5").weight_at("1") == Fraction(1, 2)
    assert use(weight="0.5", points=frozenset({"2"})).weight_at("1") == 0
    by_point = use(weight={"1": Fraction(1), "2": Fraction(0)})
    assert (by_point.weight_at("1"), by_point.weight_at("2")) == (1, 0)


def test_a_point_is_keyed_by_the_text_of_its_name():
    assert point(1).key == point("1").key == "1"


@pytest.mark.parametrize(
    ("window", "inside"),
    [
        (Window(10 * DAY, 20 * DAY), [False, True, True, False]),
        (Window(10 * DAY, 20 * DAY, True, False), [True, True, False, False]),
        (Window(None, 20 * DAY), [True, True, True, False]),
        (Window(10 * DAY, None), [False, True, True, True]),
    ],
)
def test_a_window_takes_its_ends_in_as_told(window, inside):
    assert [window.holds(at(day)) for day in (10, 15, 20, 21)] == inside


def test_a_bare_date_is_inside_if_any_instant_of_the_day_is():
    noon = Window(10 * DAY + DAY // 2, 20 * DAY)
    assert noon.holds(whole(10))
    assert not noon.holds(whole(9))
    assert noon.holds(whole(20))  # its first instant is the last of the window
    assert not Window(10 * DAY, 20 * DAY, end_inclusive=False).holds(whole(20))


def test_a_part_is_there_from_its_start_until_before_its_end():
    held = Holding("ADP", "PIN", 10 * DAY, 20 * DAY)
    assert [held.held_at(at(day)) for day in (9, 10, 19, 20)] == [False, True, True, False]
    assert held.held_at(whole(9)) is False
    assert Holding("ADP", "PIN", 10 * DAY, None).held_at(at(10_000))


def test_a_chain_holds_where_all_its_holdings_do_at_one_instant():
    inner = Holding("CLV", "PIN", 10 * DAY, 20 * DAY)
    outer = Holding("ADP", "CLV", 15 * DAY, None)
    holder = Holder(("CLV", "ADP"), (inner, outer))
    assert holder.assembly == "ADP"
    assert [holder.held_at(at(day)) for day in (12, 15, 19, 20)] == [False, True, True, False]
    # On one day, but never at one instant of it: the pin leaves as the clevis comes in.
    morning = Holding("CLV", "PIN", 10 * DAY, 20 * DAY + DAY // 2)
    evening = Holding("ADP", "CLV", 20 * DAY + DAY // 2, None)
    assert not Holder(("CLV", "ADP"), (morning, evening)).held_at(whole(20))
