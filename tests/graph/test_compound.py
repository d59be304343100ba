"""What the parts of a used assembly carry, by their shares."""

from __future__ import annotations

from fractions import Fraction

import pytest

from graph.compound import Assemblies, Part
from graph.in_force import MODE_NOT_RECORDED, Candidate, Doubt
from graph.model import BY_SHARE, SHIELDED, UNTOLD, Holding
from graph.moments import Moment

AT = Moment(100, 100)
F = Fraction


def part(name, kind="working_standard", share=None, assembly="RIG", start=0, end=None):
    held = Holding(assembly, name, start, end)
    return Part(held, kind, None if share is None else F(share))


def valued(*items, at=10):
    return {item: [Candidate(n, (at, 0, item), from_us=at)] for n, item in enumerate(items, 1)}


def held(parts, candidates, own_us=None, mode=None):
    by_assembly = {}
    for one in parts:
        by_assembly.setdefault(one.holding.assembly, []).append(one)
    found = Assemblies(by_assembly, candidates).held("RIG", AT, mode, own_us)
    return {one.part: one for one in found}


@pytest.mark.parametrize(
    ("shares", "values", "expected"),
    [
        ([None, None, None], "ABC", ["1/3"] * 3),  # equal, since each has a value
        ([None, None, None], "AB", [None] * 3),  # one has none
        (["0.5", "0.3", "0.2"], "A", ["0.5", "0.3", "0.2"]),  # given for all, whole
        (["0.5", "0.3", "0.1"], "ABC", [None] * 3),  # they do not add up to one
        (["0.5", None, None], "ABC", [None] * 3),  # given for some only
    ],
)
def test_shares_are_those_given_or_equal_or_unknown(shares, values, expected):
    parts = [part(name, share=share) for name, share in zip("ABC", shares, strict=True)]
    found = held(parts, valued(*values))
    assert [found[name].share for name in "ABC"] == [e and F(e) for e in expected]
    assert {one.bearing for one in found.values()} == {BY_SHARE}


def test_a_part_counts_only_while_it_was_held():
    found = held([part("A", end=100), part("B", start=100)], valued("A", "B"))
    assert set(found) == {"B"}  # until is exclusive, from inclusive
    assert found["B"].share == 1


def test_a_value_of_its_own_shields_but_from_parts_calibrated_later():
    found = held([part("A"), part("R", "readout")], valued("A", "R"), own_us=50)
    assert {name: one.bearing for name, one in found.items()} == {"A": SHIELDED, "R": SHIELDED}
    later = held([part("A")], valued("A", at=60), own_us=50)
    assert later["A"].bearing == UNTOLD


def test_a_part_that_measures_nothing_has_an_effect_that_cannot_be_told():
    found = held([part("A"), part("R", "readout")], valued("A", "R"))
    assert (found["R"].bearing, found["R"].share) == (UNTOLD, 1)
    assert (found["A"].bearing, found["A"].share) == (BY_SHARE, 1)


def test_an_inner_assembly_counts_as_one_and_hands_its_share_on():
    # A and the inner rig share the force 0.4 : 0.6; the inner one's two cells have half of that.
    parts = [
        part("A", share="0.4"),
        part("IN", share="0.6"),
        part("B", assembly="IN"),
        part("C", assembly="IN"),
    ]
    found = held(parts, valued("A", "B", "C"))
    assert found["B"].chain == ("B", "IN", "RIG")
    assert [found[name].share for name in ("A", "IN", "B")] == [F("0.4"), F("0.6"), F("0.3")]
    # With a value of its own the inner assembly speaks for its cells.
    own = held(parts, valued("A", "IN") | valued("B", "C", at=5))
    assert (own["IN"].bearing, own["B"].bearing) == (BY_SHARE, SHIELDED)


def test_without_a_mode_the_other_modes_latest_is_a_doubt():
    pull = Candidate(1, (10, 0, "P"), "tension", 10)
    push = Candidate(2, (20, 0, "C"), "compression", 20)
    both = Candidate(3, (25, 0, "B"), None, 25)
    found = Assemblies({}, {"WS": [pull, push]})
    assert found.doubts("WS", AT, None) == [Doubt(1, MODE_NOT_RECORDED)]
    assert found.doubts("WS", AT, "tension") == []
    # A later certificate without mode serves either.
    assert Assemblies({}, {"WS": [pull, push, both]}).doubts("WS", AT, None) == []


def test_in_the_other_mode_an_assembly_may_rest_on_its_parts():
    own = Candidate(9, (50, 0, "R"), "tension", 50)
    found = held([part("A")], valued("A") | {"RIG": [own]}, own_us=50)
    assert found["A"].bearing == SHIELDED
    assert found["A"].doubts == (Doubt(1, MODE_NOT_RECORDED),)


def test_shares_that_are_not_settled_count_only_above_a_value_of_its_own():
    # DESIGN, compound items: the value passes on alone, or is overtaken whatever the shares are.
    inner = [part("IN", share="1"), part("B", share="0.5", assembly="IN"), part("C", assembly="IN")]
    assert held(inner, valued("B", "C"))["B"].unshared
    assert not held(inner, valued("B", "C"))["IN"].unshared
    for own in (5, 50):  # before the cells, and after them
        found = held(inner, valued("B", "C") | valued("IN", at=own))
        assert (found["B"].share, found["B"].unshared) == (None, False)


def test_a_fault_of_the_only_measuring_part_counts_whole_whatever_is_recorded():
    found = held([part("A", share="0.5"), part("R", "readout")], valued("A"))
    assert (found["A"].share, found["A"].fault_share) == (None, 1)
    assert (found["R"].share, found["R"].fault_share) == (1, 1)
