"""Words of limits above an axis: none covers another, or the line of another, while there is room.

Whether two labels touch is asked of their ends here, without the code that placed them.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import permutations

import pytest

from api.rules.decide import decide
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule
from api.services.base.figure_labels import Mark, marks_of, placed

LOW, HIGH = 0.0, 500.0
SIDES = ("tolerance-lower", "acceptance-lower", "acceptance-upper", "tolerance-upper")


def marks(limits, rule, U="0.2", value="10"):
    decision = decide(Decimal(value), Decimal(U), limits, rule)
    return [(one.gid, one.words) for one in marks_of(decision, lambda number: f"{number} kN")]


def labels_at(*places, words="limit 10.8 kN", sides=SIDES):
    lines = [
        (Mark(gid, Decimal(0), words, gid.startswith("tol")), x)
        for gid, x in zip(sides, places, strict=False)
    ]
    return placed(lines, LOW, HIGH)


def test_every_limit_has_a_mark_with_its_number_and_unit():
    found = marks(Limits(Decimal(9), Decimal(11)), BUILT_IN["guard_U"])
    # guard band U: 9 + 0.2 and 11 - 0.2
    assert found == [
        ("tolerance-lower", "tolerance limit 9 kN"),
        ("acceptance-lower", "acceptance limit 9.2 kN"),
        ("tolerance-upper", "tolerance limit 11 kN"),
        ("acceptance-upper", "acceptance limit 10.8 kN"),
    ]


def test_limits_that_are_one_have_one_mark_that_names_both():
    found = marks(Limits(None, Decimal(11)), BUILT_IN["simple"])
    assert found == [("tolerance-upper", "tolerance = acceptance limit 11 kN")]


def test_acceptance_limits_that_accept_nothing_are_not_drawn():
    # U = 2 is wider than half of 9 to 11
    found = marks(Limits(Decimal(9), Decimal(11)), BUILT_IN["guard_U"], U="2")
    assert [gid for gid, _ in found] == ["tolerance-lower", "tolerance-upper"]


def test_a_band_on_one_side_only_leaves_the_other_side_one_mark():
    rule = Rule(guard=Guard("absolute", width=(Decimal(0), Decimal("0.3"))))
    found = [gid for gid, _ in marks(Limits(Decimal(9), Decimal(11)), rule)]
    assert found == ["tolerance-lower", "tolerance-upper", "acceptance-upper"]


@pytest.mark.parametrize(
    "places",
    [
        (60, 180, 320, 440),
        (240, 250, 255, 265),  # all within the width of one word
        (10, 12, 488, 490),  # at the ends of the axis
        (250, 250.5, 251, 251.5),
        (5, 6, 7, 495),
    ],
)
def test_no_words_cover_other_words_or_the_line_of_another(places):
    labels = labels_at(*places)
    assert [label.line for label in labels] == list(places)
    for one, other in permutations(labels, 2):
        if one.row == other.row:
            assert one.right < other.left or other.right < one.left
        # A line leads up from the axis to its own label, through all rows below.
        if other.row >= one.row:
            assert not one.left < other.line < one.right
    assert all(LOW <= label.left < label.right <= HIGH for label in labels)


def test_words_point_away_from_the_middle_and_stay_low_where_there_is_room():
    lower, upper = labels_at(200, 300, sides=("tolerance-lower", "tolerance-upper"))
    assert (lower.row, upper.row) == (0, 0)
    assert lower.right < lower.line < upper.line < upper.left


def test_words_turn_round_at_the_end_of_the_axis():
    lower, upper = labels_at(4, 496, sides=("tolerance-lower", "tolerance-upper"))
    assert lower.left > lower.line
    assert upper.right < upper.line


def test_words_longer_than_the_axis_have_a_row_each_and_run_over_its_end():
    labels = labels_at(100, 200, 300, words="tolerance limit " + "1234567890" * 12)
    assert [label.row for label in labels] == [0, 1, 2]
    assert all(label.right > HIGH for label in labels)
