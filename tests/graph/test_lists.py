"""What all faults together do to one certificate: one list for it, by the rules of the design."""

from __future__ import annotations

from fractions import Fraction

import pytest
from graph_records import cal, point

from graph.faults import NO_EFFECT, Effect, ForceError
from graph.lists import (
    AFFECTED,
    CLEARED,
    EXPOSED,
    INDETERMINATE,
    NOT_EXCLUDED,
    TRACED,
    Doubt,
    Judged,
    judgement,
    rank,
)
from graph.paths import Reasons

BY_REF, BY_PIN = Reasons((("REF", "C-1"),), 1, 1), Reasons((("PIN", "C-1"),), 1, 1)
MOVED = Effect(Fraction(1, 1000), Fraction(1))
ONE = cal(1)._replace(points=(point(),))
FAULTS = [ForceError(item="REF", start_us=0, end_us=9, delta_rel=Fraction(1, 1000))] * 3
DOUBTED = Doubt(frozenset(("undated_void",)), BY_PIN, ())


def by(why: Reasons, list_name: str = AFFECTED, effect: Effect = MOVED, **more) -> Judged:
    return Judged(list_name, why, (effect,), None, **more)


@pytest.mark.parametrize(
    ("lists", "expected"),
    [
        ((AFFECTED, EXPOSED), AFFECTED),
        ((EXPOSED, INDETERMINATE, AFFECTED), INDETERMINATE),
        ((EXPOSED, EXPOSED), EXPOSED),
    ],
)
def test_of_several_faults_the_gravest_list_counts(lists, expected):
    # A single one with an effect is enough, and what nobody can say outranks it.
    found = judgement(ONE, FAULTS, [by(BY_REF, name) for name in lists], [])
    assert found.list_name == expected


def test_a_fault_that_does_not_reach_it_has_no_effect_beside_one_that_does():
    found = judgement(ONE, FAULTS, [frozenset(), by(BY_REF), frozenset(("window",))], [])
    assert (found.list_name, found.why) == (AFFECTED, BY_REF)
    assert found.effects == ((NO_EFFECT, MOVED, NO_EFFECT),)
    assert found == judgement(ONE, FAULTS, [frozenset(), by(BY_REF), frozenset()], [])


def test_one_fault_that_cancels_itself_says_so_only_without_effect():
    assert judgement(ONE, FAULTS, [by(BY_REF, EXPOSED, NO_EFFECT, cancels=True)], []).cancels
    assert not judgement(ONE, FAULTS, [by(BY_REF, cancels=True)], []).cancels


def test_doubt_stands_behind_the_first_lists_and_is_told_there():
    found = judgement(ONE, FAULTS, [by(BY_REF)], [DOUBTED])
    assert (found.list_name, found.doubts, found.why) == (AFFECTED, ("undated_void",), BY_REF)
    alone = judgement(ONE, FAULTS, [frozenset(("window",))], [DOUBTED])
    assert (alone.list_name, alone.doubts, alone.why) == (NOT_EXCLUDED, ("undated_void",), BY_PIN)


def test_what_is_not_issued_is_traced_or_cleared_for_that():
    draft = ONE._replace(status="draft")
    assert judgement(draft, FAULTS, [by(BY_REF)], []).list_name == TRACED
    found = judgement(draft, FAULTS, [frozenset(("window",))], [DOUBTED])
    assert (found.list_name, found.reason) == (CLEARED, "status")


def test_the_first_reason_that_applies_clears_and_nobody_met_gives_nothing():
    found = judgement(ONE, FAULTS, [frozenset(("window",)), frozenset(("channel",))], [])
    assert (found.list_name, found.reason) == (CLEARED, "channel")
    assert judgement(ONE, FAULTS, [frozenset()], []) is None


def test_the_place_in_a_list_is_by_generation_then_number():
    listed = judgement(ONE, FAULTS, [by(BY_REF)], [])
    assert rank(listed) == (1, ONE.number, 0)
    assert rank(judgement(ONE, FAULTS, [frozenset(("window",))], [])) == (0, ONE.number, 0)


def test_what_is_given_back_and_done_by_a_fault_now_leaves_nothing():
    back = Effect(-MOVED.delta)
    given = by(BY_PIN, effect=back, given_back=True)
    found = judgement(ONE, FAULTS[:2], [by(BY_REF), given], [])
    assert (found.list_name, found.reason) == (CLEARED, "corrected")
    # Another tenth of it is left, and so listed.
    more = by(BY_REF, effect=Effect(MOVED.delta * Fraction(11, 10)))
    assert judgement(ONE, FAULTS[:2], [more, given], []).list_name == AFFECTED
