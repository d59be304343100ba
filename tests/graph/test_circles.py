"""Circles: found where there is one, and then whole; Tarjan's components by networkx beneath."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graph.circles import circle, tangled

LINKS = st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=16)


def reached(links, start):
    """Nodes that can be reached from one in at least one step, by plain search."""
    found, frontier = set(), {start}
    while frontier:
        frontier = {b for a, b in links if a in frontier} - found
        found |= frontier
    return found


@given(LINKS)
def test_what_lies_on_a_circle_is_what_reaches_itself(links):
    nodes = {node for link in links for node in link}
    assert tangled(links) == {node for node in nodes if node in reached(links, node)}


@given(LINKS)
def test_a_circle_is_made_of_links_and_found_whenever_one_is_there(links):
    found = circle(links)
    if found is None:
        assert not tangled(links)
    else:
        assert set(zip(found, [*found[1:], found[0]], strict=True)) <= set(links)


@pytest.mark.parametrize("links", [[], [("A", "B")], [("A", "B"), ("B", "C"), ("A", "C")]])
def test_without_a_circle_there_is_none(links):
    assert circle(links) is None
    assert tangled(links) == set()
