"""Which part of the axis a picture shows, and where its zones and guard bands lie."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.decide import decide
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule
from api.services.decisions.axis import guard_bands, view, zones_between

TWO = Limits(Decimal(9), Decimal(11))
UPPER = Limits(None, Decimal(11))
RULES = (*BUILT_IN.values(), Rule("relaxed", guard=Guard("U", factor=Decimal("-0.5"))))


def decided(value="10", U="0.2", limits=TWO, rule=BUILT_IN["guard_U"]):
    return decide(Decimal(value), Decimal(U), limits, rule)


def zones(decision, low, high):
    return [(float(a), float(b), zone) for a, b, zone in zones_between(decision, low, high)]


def test_zones_follow_each_other_from_left_to_right():
    # 9 and 11, w = 0.2: accepted from 9.2 to 10.8
    found = zones(decided(), Fraction(8), Fraction(12))
    assert found == [(8, 9.2, "fail"), (9.2, 10.8, "pass"), (10.8, 12, "fail")]


def test_four_zones_have_their_edges_at_the_limits_and_a_band_on_both_sides():
    found = zones(decided(rule=BUILT_IN["four_state_U"], limits=UPPER), Fraction(10), Fraction(12))
    assert found == [
        (10, 10.8, "pass"),
        (10.8, 11, "conditional_pass"),
        (11, 11.2, "conditional_fail"),
        (11.2, 12, "fail"),
    ]


def test_a_stretch_without_an_edge_is_one_zone():
    assert zones(decided(), Fraction(10), Fraction(10) + 1) != [(10, 11, "pass")]
    assert zones(decided(), Fraction("9.5"), Fraction("10.5")) == [(9.5, 10.5, "pass")]


def test_where_nothing_is_accepted_all_is_one_zone():
    assert zones(decided(U="2"), Fraction(8), Fraction(12)) == [(8, 12, "fail")]


numbers = st.integers(-500, 500).map(lambda n: Decimal(n) / 10)


@given(numbers, st.integers(0, 60), numbers, st.integers(0, 100), st.sampled_from(RULES), st.data())
@settings(deadline=None, max_examples=80)
def test_all_limits_are_in_view_and_the_zones_fill_it(value, U, lower, width, rule, data):
    upper = lower + Decimal(width) / 10
    limits = data.draw(
        st.sampled_from([Limits(lower, upper), Limits(None, upper), Limits(lower, None)])
    )
    decision = decide(value, Decimal(U) / 10, limits, rule)
    low, high = view(decision)
    accepted = decision.acceptance
    edges = [limits.lower, limits.upper]
    edges += [] if accepted.empty else [accepted.lower, accepted.upper]
    assert all(low < edge < high for edge in edges if edge is not None)
    found = list(zones_between(decision, low, high))
    assert (found[0][0], found[-1][1]) == (low, high)
    for one, other in pairwise(found):
        assert one[1] == other[0]
        assert one[2] != other[2]
    if low < value < high:
        # On an edge the better zone counts, which is one of the two that meet there.
        here = {zone for a, b, zone in found if a <= value <= b}
        assert decision.verdict in here or limits.lower == limits.upper


def test_a_result_near_the_limits_is_in_view_with_its_uncertainty():
    low, high = view(decided("12.5", "0.4"))
    assert low < Fraction(9)
    assert high > Fraction("12.9")


def test_a_result_far_away_is_followed_for_two_widths_of_the_limits_only():
    # 9 to 11 is 2 wide: followed to 11 + 4 = 15, and a sixteenth of the rest around it
    low, high = view(decided("1000"))
    assert high - Fraction(15) == (high - low) * Fraction(1, 18)
    near = view(decided("2000"))
    assert near == (low, high)


def test_a_single_limit_without_uncertainty_has_a_part_of_the_axis_too():
    # The only number is the limit, and the value lies on it: a tenth of it is the measure.
    low, high = view(decided("11", "0", UPPER))
    assert low < 11 < high
    low, high = view(decided("0", "0", Limits(None, Decimal(0))))
    assert low < 0 < high


def test_guard_bands_lie_inside_the_limits_or_outside_if_they_relax():
    assert guard_bands(decided()) == {
        "lower": (9, Fraction("9.2")),
        "upper": (Fraction("10.8"), 11),
    }
    relaxed = Rule("relaxed", guard=Guard("U", factor=Decimal("-0.5")))
    assert guard_bands(decided(rule=relaxed)) == {
        "lower": (Fraction("8.9"), 9),
        "upper": (11, Fraction("11.1")),
    }


def test_a_band_wider_than_the_tolerance_ends_at_the_other_limit():
    assert guard_bands(decided(U="5")) == {"lower": (9, 11), "upper": (9, 11)}


@pytest.mark.parametrize(
    ("rule", "limits", "sides"),
    [
        (BUILT_IN["simple"], TWO, set()),
        (BUILT_IN["guard_U"], UPPER, {"upper"}),
        (Rule(guard=Guard("absolute", width=(Decimal(0), Decimal("0.3")))), TWO, {"upper"}),
    ],
)
def test_a_band_without_width_or_limit_is_none(rule, limits, sides):
    assert guard_bands(decided(rule=rule, limits=limits)).keys() == sides
