"""Parts in assemblies over time."""

from __future__ import annotations

import pytest

from graph.model import Holding
from graph.parts import PartWithinItself, holders, refuse_part_within_itself


def held(assembly, part, start=0, end=None):
    return Holding(assembly, part, start, end)


def chains(part, *holdings):
    return [holder.chain for holder in holders(part, holdings)]


def test_a_part_is_found_in_every_assembly_that_ever_held_it():
    moved = [held("A", "PIN", 0, 10), held("B", "PIN", 10, 20), held("A", "PIN", 20)]
    assert chains("PIN", *moved) == [("A",), ("A",), ("B",)]
    assert chains("OTHER", *moved) == []


def test_assemblies_within_assemblies_make_chains():
    assert chains("PIN", held("CLV", "PIN"), held("ADP", "CLV"), held("RIG", "ADP")) == [
        ("CLV",),
        ("CLV", "ADP"),
        ("CLV", "ADP", "RIG"),
    ]


def test_holdings_that_never_overlapped_make_no_chain():
    # The pin left the clevis at 10, when the clevis went into the adapter.
    assert chains("PIN", held("CLV", "PIN", 0, 10), held("ADP", "CLV", 10)) == [("CLV",)]
    three = [held("CLV", "PIN", 0, 10), held("ADP", "CLV", 5, 20), held("RIG", "ADP", 12)]
    assert chains("PIN", *three) == [("CLV",), ("CLV", "ADP")]


def test_parts_that_swap_places_over_time_do_not_go_round_forever():
    assert chains("PIN", held("CLV", "PIN", 0, 10), held("PIN", "CLV", 10)) == [("CLV",)]


@pytest.mark.parametrize(
    "holdings",
    [
        [held("A", "A")],
        [held("A", "B"), held("B", "A")],
        [held("A", "B", 0, 10), held("B", "C", 5, 15), held("C", "A", 9, 20)],
    ],
)
def test_a_part_within_itself_at_one_instant_is_refused(holdings):
    with pytest.raises(PartWithinItself, match="within itself"):
        refuse_part_within_itself(holdings)


@pytest.mark.parametrize(
    "holdings",
    [
        [],
        [held("A", "B"), held("A", "C"), held("D", "B")],
        [held("A", "B", 0, 10), held("B", "A", 10)],
        # At no instant do all three hold: the first ended when the third began.
        [held("A", "B", 0, 10), held("B", "C", 5, 15), held("C", "A", 10, 20)],
    ],
)
def test_circles_spread_over_time_are_lawful(holdings):
    refuse_part_within_itself(holdings)
