"""What served a use, and what it may have been instead."""

from __future__ import annotations

from fractions import Fraction

import pytest

from graph.in_force import (
    MAY_BE_OUTSIDE,
    OTHER_MODE_ONLY,
    OUTSIDE_RANGE,
    UNDATED_VOID,
    Candidate,
    Doubt,
    beyond_range,
    beyond_unknown_share,
    doubts,
    serving,
)


def one(key, at, **more):
    """A certificate calibrated at an instant, which serves from then on unless `from_us` says."""
    return Candidate(key, (at, 0, f"C-{key}"), **({"from_us": at} | more))


def test_the_latest_that_served_counts_and_a_void_changes_nothing_before_it():
    old, new = one(1, 10), one(2, 20, until_us=40)
    assert [found.key for found in serving([old, new], 39, None)] == [2, 1]
    assert [found.key for found in serving([old, new], 40, None)] == [1]  # the new state holds
    assert [found.key for found in serving([old, new], 19, None)] == [1]


def test_a_later_revision_serves_from_its_issue():
    first = one(1, 10, until_us=50)
    second = Candidate(2, (10, 1, "C-1"), from_us=50)
    assert [found.key for found in serving([first, second], 49, None)] == [1]
    assert [found.key for found in serving([first, second], 50, None)] == [2]


@pytest.mark.parametrize(
    ("mode", "expected"), [("tension", [1]), ("compression", [2]), (None, [2, 1])]
)
def test_a_mode_is_served_by_its_own_and_by_those_without(mode, expected):
    found = serving([one(1, 10, mode="tension"), one(2, 20, mode="compression")], 30, mode)
    assert [each.key for each in found] == expected


def test_a_void_without_date_leaves_a_doubt_only_where_it_would_have_been_later():
    voided = one(3, 20, from_us=None, undated_void=True)
    before, after = one(1, 10), one(2, 30)
    assert doubts([before, voided], 25, None, before) == [Doubt(3, UNDATED_VOID)]
    assert doubts([before, after, voided], 35, None, after) == []
    assert doubts([voided], 25, None, None) == [Doubt(3, UNDATED_VOID)]
    assert doubts([voided], 19, None, None) == []


def test_a_mode_that_was_never_calibrated_leaves_the_other_as_a_doubt():
    push = one(2, 20, mode="compression")
    assert doubts([push], 30, "tension", None) == [Doubt(2, OTHER_MODE_ONLY)]


def test_a_force_beyond_the_range_points_to_the_latest_earlier_one_that_holds_it():
    def span(low, high):
        return Fraction(low), Fraction(high)

    now = one(3, 30, span=span(10, 50))
    older, oldest = one(2, 20, span=span(5, 100)), one(1, 10, span=span(1, 100))
    ranked = [now, older, oldest]
    assert beyond_range(ranked, [Fraction(80)]) == [Doubt(2, OUTSIDE_RANGE)]
    assert beyond_range(ranked, [Fraction(2)]) == [Doubt(1, OUTSIDE_RANGE)]
    assert beyond_range(ranked, [Fraction(10), Fraction(50), Fraction(0)]) == []  # ends are inside
    assert beyond_range(ranked, [Fraction(200)]) == []


@pytest.mark.parametrize(
    ("whole", "keys"),
    [
        # 10 to 20 by the one in force, 10 to 50 and 40 to 90 by the two before it, worked by hand.
        (20, []),
        (21, [2]),
        (50, [2]),
        (51, [2, 1]),
        (200, [2, 1]),
        (0, []),
        (5, []),
        (-60, []),
    ],
)
def test_without_a_share_any_force_up_to_the_whole_may_have_been_borne(whole, keys):
    spans = {3: (10, 20), 2: (10, 50), 1: (40, 90)}
    ranked = [
        Candidate(key, (key, 0, "C"), span=(Fraction(low), Fraction(high)))
        for key, (low, high) in spans.items()
    ]
    found = beyond_unknown_share(ranked, [Fraction(whole)])
    assert found == [Doubt(key, MAY_BE_OUTSIDE) for key in keys]


def test_a_whole_force_that_a_later_range_holds_is_not_borne_outside_it():
    # At 5 kN the range from 5 holds the whole; what lies below it, (0, 5), misses [5, 10].
    spans = {2: (5, 50), 1: (5, 10)}
    ranked = [
        Candidate(key, (key, 0, "C"), span=(Fraction(low), Fraction(high)))
        for key, (low, high) in spans.items()
    ]
    for whole in (4, 5, 6):
        assert beyond_unknown_share(ranked, [Fraction(whole)]) == []


def test_a_range_of_one_force_is_met_within_and_at_the_whole():
    spans = {2: (10, 20), 1: (30, 30)}
    ranked = [
        Candidate(key, (key, 0, "C"), span=(Fraction(low), Fraction(high)))
        for key, (low, high) in spans.items()
    ]
    for whole, met in ((29, False), (30, True), (31, True)):
        assert bool(beyond_unknown_share(ranked, [Fraction(whole)])) is met
