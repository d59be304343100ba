"""The graph of a question: what was calibrated with what, by key, from cause to effect.

A certificate is a node by its key. An item is one node for each certificate that gave it a value,
since two calibrations give it two values; so the graph has no circle even where two items
calibrated each other in turn. What held an item, and a channel of it, are nodes of their own:

    certificate --assigned--> item --held--> assembly --used--> certificate
                                item --held--> channel --used--> certificate

Edges `used` carry the record of the use; `confirmed` ones are uses of an item after a calibration
that only confirmed its limits, `may` ones lead from certificates whose value it may have been
instead. Only what the question reaches is put in: the store finds it level by level.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise, product
from typing import Any, TypeAlias

import networkx as nx

from graph.links import (
    ASSIGNED,
    CERTIFICATE,
    CHANNEL,
    CONFIRMED,
    HELD,
    ITEM,
    MAY,
    USED,
    Origin,
    Path,
    State,
)
from graph.model import Calibration, Held, Holding, Use

Graph: TypeAlias = nx.MultiDiGraph
Incoming: TypeAlias = Mapping[Any, Mapping[int, Mapping[str, Any]]]  # by the node before


class CyclicTrace(ValueError):
    """A calibration rests on itself.

    Parameters
    ----------
    circle : sequence of int
        The keys on the way round.
    """

    def __init__(self, circle: Sequence[int]) -> None:
        super().__init__(f"a calibration rests on itself: {circle}")
        self.circle = tuple(circle)


def reached(
    calibrations: Iterable[Calibration], faulty: Container[str] | None = None
) -> nx.MultiDiGraph:
    """Return the graph of calibrations.

    Parameters
    ----------
    calibrations : iterable of Calibration
        Best in order of time, which `in_order_of_dependence` then mostly keeps.
    faulty : container of str, optional
        Items of which every use is shown. Of all others only what rests on a calibration of the
        graph; without this, every use.

    Returns
    -------
    networkx.MultiDiGraph
        Certificate nodes have `kind` and `record` (the `Calibration`), the others (`State`) `kind`.
        Edges have `kind`; those to a certificate also `use` (the `Use`), `place` (which of the
        calibration's uses it is), and where a part carried the value `held` (the `Held`).

    Examples
    --------
    >>> from graph import Moment, Use
    >>> at = Moment(5, 5)
    >>> first = Calibration(1, "W-1", 0, "issued", "WS", None, at)
    >>> second = Calibration(2, "C-1", 0, "issued", "I-1", None, at, uses=(
    ...     Use("WS", "force_reference", at, source=1),))
    >>> graph = reached([first, second])
    >>> nx.shortest_path(graph, 1, 2)
    [1, State(chain=('WS',), source=1, channel=None), 2]
    """
    graph = nx.MultiDiGraph()
    made = {one.key: one for one in calibrations}
    # Most of what a recall reaches is put in here and not by the calls of networkx, which would
    # look again for what was just made: its dictionaries, as its documentation describes them.
    nodes, after, before = graph._node, graph._succ, graph._pred
    for key, one in made.items():
        nodes[key], after[key], before[key] = {"kind": CERTIFICATE, "record": one}, {}, {}
    for key, one in made.items():
        into = before[key]
        for place, use in enumerate(one.uses):
            for source, kind, held in _values(use):
                if kind == CONFIRMED and source == key:
                    continue  # a part that was confirmed within the assembly exposes itself to none
                known = source in made
                item = use.item if held is None else held.part
                if not known and faulty is not None and item not in faulty:
                    continue
                facts: dict[str, Any] = {"kind": kind, "use": use, "place": place}
                if held is None:
                    state = State((item,), source, use.channel)
                else:
                    state, facts["held"] = State(held.chain, source), held
                if state not in nodes:
                    cause = source if known else None
                    lead(graph, source, state.chain, cause, state.channel)
                edges = into.get(state)
                if edges is None:
                    edges = into[state] = after[state][key] = {}
                edges[len(edges)] = facts
    return graph


def incoming(graph: nx.MultiDiGraph) -> Mapping[int, Incoming]:
    """Return what leads to each certificate: for each node before it the edges, by their numbers.

    The dictionaries of networkx themselves: its views of them cost as much as the judgement, and
    some of them keep the graph from being freed with the recall.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        As `reached` gives it.

    Returns
    -------
    mapping of int to mapping
    """
    found: Mapping[int, Incoming] = graph._pred
    return found


def _values(use: Use) -> Iterable[tuple[int | None, str, Held | None]]:
    """Every certificate that a use took a value from, or may have, and through which part."""
    if use.evidence is None and not (use.held or use.ranked or use.doubts):
        return ((use.source, USED, None),)
    return _several(use)


def _several(use: Use) -> Iterator[tuple[int | None, str, Held | None]]:
    yield use.source, USED, None
    if use.evidence is not None:
        yield use.evidence, CONFIRMED, None
    for key in {*(one.key for one in use.ranked), *(one.key for one in use.doubts)}:
        if key != use.source:
            yield key, MAY, None
    for held in use.held:
        yield held.source, USED, held
        for key in {*(one.key for one in held.ranked), *(one.key for one in held.doubts)}:
            if key != held.source:
                yield key, MAY, held
        if held.evidence is not None:
            yield held.evidence, CONFIRMED, held


def lead(
    graph: nx.MultiDiGraph,
    source: int | Origin | None,
    chain: Path,
    cause: int | Origin | None,
    channel: str | None = None,
    kind: str = ASSIGNED,
) -> State:
    """Add what lies between a cause and the use of what it left; return the last node of it.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        Is changed.
    source : int, Origin or None
        What left the item as it was.
    chain : tuple of str
        The item, then whatever held it.
    cause : int, Origin or None
        The node of the source, if there is one.
    channel : str, optional
        Of the item, where no other held it.
    kind : str
        How the cause leads to the item.

    Returns
    -------
    State
    """
    state = State(chain, source, channel)
    if state in graph:
        return state
    before = State(chain[:1], source)
    if before not in graph:
        graph.add_node(before, kind=ITEM)
        if cause is not None:
            graph.add_edge(cause, before, kind=kind)
    for place in range(2, len(chain) + 1):
        above = State(chain[:place], source)
        if above not in graph:
            graph.add_node(above, kind=ITEM)
            graph.add_edge(before, above, kind=HELD)
        before = above
    if channel is not None:
        graph.add_node(state, kind=CHANNEL)
        graph.add_edge(before, state, kind=HELD)
    return state


def date_holdings(
    graph: nx.MultiDiGraph, holdings: Mapping[tuple[str, str], Sequence[Holding]]
) -> None:
    """Put on each edge from a part to what held it since when and until when it did.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        As `reached` gives it; an edge `held` becomes one for each `holding` in which it was used.
    holdings : mapping of (str, str) to sequence of Holding
        By assembly and part.
    """
    for user, record in graph.nodes(data="record"):
        for state, edges in incoming(graph)[user].items() if record is not None else ():
            steps = [State(state.chain[:n], state.source) for n in range(1, len(state.chain) + 1)]
            for edge, (part, above) in product(list(edges.values()), pairwise(steps)):
                for one in holdings.get((above.chain[-1], part.chain[-1]), ()):
                    if one.held_at(edge["use"].at):
                        graph.add_edge(part, above, one.start_us, kind=HELD, holding=one)
    for part, above, key, edge in list(graph.edges(keys=True, data=True)):
        others = graph.number_of_edges(part, above) > 1
        if edge["kind"] == HELD and "holding" not in edge and others:
            graph.remove_edge(part, above, key)


def carriers(graph: nx.MultiDiGraph) -> set[int]:
    """Return the certificates on which others of the graph rest, or may.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        As `reached` gives it.

    Returns
    -------
    set of int
    """
    return {node for node, after in graph._succ.items() if after and isinstance(node, int)}


def in_order_of_dependence(graph: nx.MultiDiGraph) -> list[int]:
    """Order the certificates of a graph so that each comes after those it rests on.

    Calibrations that were given in order of time mostly are in this order already, which is kept,
    since their results lie side by side; otherwise the order stays as near to it as it can.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        As `reached` gives it.

    Returns
    -------
    list of int

    Raises
    ------
    CyclicTrace
        If one rests on itself.

    Examples
    --------
    >>> from graph import Moment, Use
    >>> at = Moment(5, 5)
    >>> def made(key, source):
    ...     uses = () if source is None else (Use("W", "force_reference", at, source=source),)
    ...     return Calibration(key, f"C-{key}", 0, "issued", "I", None, at, uses=uses)
    >>> in_order_of_dependence(reached([made(3, 2), made(1, None), made(2, 1)]))
    [1, 2, 3]
    """
    given = [node for node in graph if isinstance(node, int)]
    inside, before = set(given), incoming(graph)
    seen: set[int] = set()
    for key in given:
        waits = [one for one in before[key] if one.source not in seen]
        if waits and not inside.isdisjoint([one.source for one in waits]):
            break
        seen.add(key)
    else:
        return given
    places = {key: place for place, key in enumerate(given)}
    try:
        return _sorted(graph, places)
    except nx.NetworkXUnfeasible as error:
        # Cells that were confirmed within one assembly on one day lie on circles of exposure, on
        # which nothing is passed on: those decide no order.
        bearing = nx.MultiDiGraph(graph)
        edges = graph.edges(keys=True, data=True)
        bearing.remove_edges_from([one[:3] for one in edges if _confirmed_part(one[3])])
        try:
            return _sorted(bearing, places)
        except nx.NetworkXUnfeasible:
            circle = [link[0] for link in nx.find_cycle(bearing)]
            raise CyclicTrace([node for node in circle if node in places]) from error
    finally:
        # What networkx keeps of these points back at the graph, which would then stay until the
        # collector comes, seldom in a server.
        for view in ("edges", "in_degree"):
            vars(graph).pop(view, None)


def _sorted(graph: nx.MultiDiGraph, places: Mapping[int, int]) -> list[int]:
    order = nx.lexicographical_topological_sort(graph, key=lambda node: places.get(node, -1))
    return [node for node in order if node in places]


def _confirmed_part(edge: Mapping[str, Any]) -> bool:
    return edge["kind"] == CONFIRMED and edge.get("held") is not None
