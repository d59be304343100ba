"""Reason paths: order, count and cap."""

from __future__ import annotations

import networkx as nx
import pytest

from graph.paths import MOST_PATHS, Reasons, joined, reasons


def test_paths_are_ordered_by_length_then_text():
    before = Reasons((("REF", "B-1"), ("REF", "A-1", "X", "B-1")), 2, 1)
    found = reasons("C", [("REF", "C"), ("ALT", "C")], [("Y", before)])
    assert found.paths == (
        ("ALT", "C"),
        ("REF", "C"),
        ("REF", "B-1", "Y", "C"),
        ("REF", "A-1", "X", "B-1", "Y", "C"),
    )
    assert (found.count, found.generation) == (4, 1)


def test_generation_is_the_shortest_way():
    near, far = Reasons((("REF", "A"),), 1, 1), Reasons((("REF", "B"),), 1, 4)
    assert reasons("C", [], [("X", far), ("Y", near)]).generation == 2


def test_paths_that_read_the_same_are_one():
    one = Reasons((("REF", "A"),), 1, 1)
    found = reasons("C", [("REF", "C"), ("REF", "C")], [("X", one), ("X", one)])
    assert found.count == len(found.paths) == 2


def test_without_a_path_there_is_no_reason():
    with pytest.raises(ValueError, match="no path"):
        reasons("C", [], [])


def test_a_dense_lattice_keeps_fifty_paths_and_counts_all():
    # Ten layers of three certificates, each resting on all three above: 3**10 paths, as networkx
    # counts them on the first layers.
    width, depth = 3, 10
    layer = [reasons(f"L0-{n}", [("REF", f"L0-{n}")], []) for n in range(width)]
    lattice = nx.DiGraph(("REF", f"0-{n}") for n in range(width))
    for level in range(1, depth):
        through = [((f"I{level - 1}-{n}",), layer[n]) for n in range(width)]
        layer = [reasons(f"L{level}-{n}", [], through) for n in range(width)]
        lattice.add_edges_from(
            (f"{level - 1}-{a}", f"{level}-{b}") for a in range(width) for b in range(width)
        )
        if level < 5:
            counted = sum(1 for _ in nx.all_simple_paths(lattice, "REF", f"{level}-0"))
            assert layer[0].count == counted
    assert layer[0].count == width ** (depth - 1)
    assert len(layer[0].paths) == MOST_PATHS == 50
    assert layer[0].generation == depth
    # The first fifty in the order of text, each alternating certificate and item.
    assert list(layer[0].paths) == sorted(layer[0].paths)
    assert layer[0].paths[0][:4] == ("REF", "L0-0", "I0-0", "L1-0")
    assert {len(path) for path in layer[0].paths} == {2 * depth}


def test_reasons_of_several_faults_are_joined():
    one, two = Reasons((("REF", "C"),), 1, 1), Reasons((("BOX", "A", "X", "C"),), 1, 2)
    both = joined([one, two])
    assert both == Reasons((("REF", "C"), ("BOX", "A", "X", "C")), 2, 1)
    assert joined([one]) is one
