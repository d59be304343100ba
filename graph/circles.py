"""Circles in a relation: what rests on itself, or holds itself, through others.

networkx is loaded when a circle is looked for, which recording does; a first list, which must come
at once, never does. The order of a recall has its own (`graph.traceability`).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import TypeVar

Node = TypeVar("Node", bound=Hashable)


def circle(links: Iterable[tuple[Node, Node]]) -> list[Node] | None:
    """Return the nodes of one circle in the order of its links, None if there is none.

    >>> circle([("A", "B"), ("B", "C"), ("C", "A"), ("C", "D")])
    ['A', 'B', 'C']
    >>> circle([("A", "B"), ("A", "C"), ("B", "C")]) is None
    True
    """
    import networkx as nx

    try:
        return [link[0] for link in nx.find_cycle(nx.DiGraph(links))]
    except nx.NetworkXNoCycle:
        return None


def way_round(nodes: Sequence[Node], names: Mapping[Node, str]) -> str:
    """Return a circle of calibrations in words, back to where it begins.

    >>> way_round([7, 8], {7: "W-1", 8: "C-1"})
    'W-1 rests on C-1 rests on W-1'
    """
    return " rests on ".join(names[one] for one in [*nodes, nodes[0]])


def tangled(links: Iterable[tuple[Node, Node]]) -> set[Node]:
    """Return every node that lies on some circle.

    >>> sorted(tangled([("A", "B"), ("B", "A"), ("B", "C"), ("D", "D")]))
    ['A', 'B', 'D']
    """
    import networkx as nx

    relation = nx.DiGraph(links)
    within = (one for one in nx.strongly_connected_components(relation) if len(one) > 1)
    return {node for component in within for node in component} | set(
        nx.nodes_with_selfloops(relation)
    )
