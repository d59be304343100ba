"""The graph of a question: nodes, edges, order; networkx is the judge of order and circles."""

from __future__ import annotations

import gc
import random
import weakref
from fractions import Fraction
from itertools import pairwise

import networkx as nx
import pytest
from graph_records import DAY, at, cal, use

from graph.faults import ForceError
from graph.in_force import Candidate, Doubt
from graph.links import ASSIGNED, CHANNEL, CONFIRMED, HELD, ITEM, MAY, USED, State
from graph.model import BY_SHARE, ONE, Held
from graph.recall import assess
from graph.suspects import SuspectWindow
from graph.traceability import CyclicTrace, carriers, in_order_of_dependence, incoming, reached


def kinds(graph):
    return {(u, v): facts["kind"] for u, v, facts in graph.edges(data=True)}


def test_a_certificate_leads_through_the_item_that_it_calibrated():
    graph = reached([cal(1), cal(2, use("I-1", source=1))])
    state = State(("I-1",), 1)
    assert kinds(graph) == {(1, state): ASSIGNED, (state, 2): USED}
    assert graph.nodes[state]["kind"] == ITEM
    assert graph.nodes[1]["record"].number == "C-1"
    (edge,) = incoming(graph)[2][state].values()
    assert (edge["use"].item, edge["place"]) == ("I-1", 0)


def test_two_calibrations_give_an_item_two_values_and_two_nodes():
    made = [
        cal(1, item="W"),
        cal(2, item="W"),
        cal(3, use("W", source=1)),
        cal(4, use("W", source=2)),
    ]
    graph = reached(made)
    assert nx.ancestors(graph, 3) == {1, State(("W",), 1)}
    assert nx.ancestors(graph, 4) == {2, State(("W",), 2)}


def test_an_item_used_twice_is_on_two_edges():
    graph = reached([cal(1), cal(2, use("I-1", source=1), use("I-1", source=1, weight="0.5"))])
    assert graph.number_of_edges(State(("I-1",), 1), 2) == 2


def confirmed(key, *others):
    """A part in a rig that only confirmed its limits, as others in it were on the same day."""
    held = [
        Held((f"CELL-{one}", "RIG"), ONE, ONE, BY_SHARE, evidence=one) for one in (key, *others)
    ]
    return cal(key, use("RIG", held=tuple(held)), item=f"CELL-{key}")


def test_cells_confirmed_within_one_assembly_on_one_day_do_not_rest_on_themselves():
    # DESIGN section 5: a calibration that assigns no value passes nothing on.
    alone = reached([confirmed(1)])
    assert not any(edge["kind"] == CONFIRMED for *_, edge in alone.edges(data=True))
    assert in_order_of_dependence(reached([confirmed(1, 2), confirmed(2, 1)])) == [1, 2]
    above = cal(3, item="W")
    late = confirmed(1, 2)._replace(uses=(*confirmed(1, 2).uses, use("W", source=3)))
    assert in_order_of_dependence(reached([late, confirmed(2, 1), above])) == [2, 3, 1]


def test_a_circle_of_values_is_refused_beside_one_of_exposure():
    first = confirmed(1, 2)
    knot = first._replace(uses=(*first.uses, use("CELL-2", source=2)))
    other = confirmed(2, 1)
    with pytest.raises(CyclicTrace) as refused:
        in_order_of_dependence(
            reached([knot, other._replace(uses=(*other.uses, use("CELL-1", source=1)))])
        )
    assert sorted(refused.value.circle) == [1, 2]


def test_a_part_leads_through_what_held_it():
    served = Candidate(1, (0, 0, "C-1"))
    held = Held(("CELL", "INNER", "RIG"), ONE, ONE, BY_SHARE, (served,))
    graph = reached([cal(1, item="CELL"), cal(2, use("RIG", held=(held,)))], set())
    path = [1, *(State(held.chain[:n], 1) for n in (1, 2, 3)), 2]
    assert nx.shortest_path(graph, 1, 2) == path
    assert [kinds(graph)[step] for step in pairwise(path)] == [*(ASSIGNED, HELD, HELD, USED)]


def test_a_channel_is_a_node_of_its_own():
    graph = reached([cal(1, item="IND"), cal(2, use("IND", source=1, channel="A"))])
    channel = State(("IND",), 1, "A")
    assert graph.nodes[channel]["kind"] == CHANNEL
    assert nx.shortest_path(graph, 1, 2) == [1, State(("IND",), 1), channel, 2]


def test_confirmations_and_doubts_have_edges_of_their_own_kind():
    made = [cal(1), cal(2), cal(3)]
    used = use("I", source=1, evidence=2, doubts=(Doubt(3, "undated_void"),))
    graph = reached([*made, cal(4, used)])
    assert kinds(graph)[State(("I",), 1), 4] == USED
    assert kinds(graph)[State(("I",), 2), 4] == CONFIRMED
    assert kinds(graph)[State(("I",), 3), 4] == MAY
    assert in_order_of_dependence(reached([cal(4, used), *made]))[-1] == 4


def test_only_what_rests_on_the_question_is_in_the_graph():
    made = [cal(1, use("REF")), cal(2, use("I-1", source=1), use("THERMO", source=99))]
    graph = reached(made, {"REF"})
    assert {one.chain[0] for one in graph if isinstance(one, State)} == {"REF", "I-1"}
    every = reached(made)
    assert State(("THERMO",), 99) in every


def test_the_graph_is_one_that_networkx_would_have_made_call_by_call():
    # networkx itself is the reference: what its own calls make of the same nodes and edges.
    held = Held(("CELL", "RIG"), ONE, ONE, BY_SHARE, ranked=(Candidate(1, (0, 0, "C-1")),))
    twice = (use("I-1", source=1), use("I-1", source=1, weight="0.5"))
    doubted = use("I-2", source=2, evidence=1, doubts=(Doubt(1, "undated_void"),))
    made = [cal(1, item="CELL"), cal(2, *twice), cal(3, doubted, use("RIG", held=(held,)))]
    graph = reached(made)
    again = nx.MultiDiGraph()
    again.add_nodes_from(graph.nodes(data=True))
    again.add_edges_from(graph.edges(keys=True, data=True))
    assert nx.utils.graphs_equal(graph, again)
    assert {kind for _, _, kind in graph.edges(data="kind")} == {
        ASSIGNED,
        USED,
        CONFIRMED,
        MAY,
        HELD,
    }
    assert list(graph.edges(State(("I-1",), 1), keys=True)) == [
        (State(("I-1",), 1), 2, 0),
        (State(("I-1",), 1), 2, 1),
    ]
    graph.remove_node(3)  # from both sides, so that both know of each edge
    assert not any(3 in pair for pair in graph.edges())
    assert nx.is_directed_acyclic_graph(graph)


def test_carriers_are_the_certificates_on_which_others_rest():
    made = [cal(1, use("REF")), cal(2, use("I-1", source=1)), cal(3, use("I-2", source=2))]
    assert carriers(reached(made, {"REF"})) == {1, 2}


@pytest.mark.parametrize("seed", range(20))
def test_each_comes_after_those_it_rests_on_in_whatever_order_they_are_given(seed):
    chance = random.Random(seed)
    size = 30
    sources = {b: [a for a in range(b) if chance.random() < 3 / size] for b in range(size)}
    made = [
        cal(b, *[use(f"I-{a}", source=a) for a in on], performed=at(b)) for b, on in sources.items()
    ]
    chance.shuffle(made)
    order = in_order_of_dependence(reached(made))
    assert sorted(order) == list(range(size))
    place = {key: n for n, key in enumerate(order)}
    assert all(place[a] < place[b] for b, on in sources.items() for a in on)


def test_an_order_that_holds_is_kept_and_another_changed_no_more_than_it_must():
    one, two, three = cal(1), cal(2, use("I-1", source=1)), cal(3)
    assert in_order_of_dependence(reached([three, one, two])) == [3, 1, 2]
    assert in_order_of_dependence(reached([three, two, one])) == [3, 1, 2]


@pytest.mark.parametrize("size", [1, 2, 3])
def test_a_circle_is_an_error_that_names_it(size):
    made = [cal(n, use(f"I-{(n + 1) % size}", source=(n + 1) % size)) for n in range(size)]
    with pytest.raises(CyclicTrace, match="rests on itself") as caught:
        in_order_of_dependence(reached([*made, cal(9)]))
    assert set(caught.value.circle) == set(range(size))


@pytest.mark.parametrize("given", [(1, 2), (2, 1)])
def test_a_graph_is_freed_with_its_last_user_and_not_when_the_collector_comes(given):
    made = {1: cal(1, use()), 2: cal(2, use("I-1", source=1))}
    fault = ForceError(item="REF", start_us=0, end_us=20 * DAY, delta_rel=Fraction("0.001"))
    gc.collect()
    gc.disable()
    try:
        graph = reached([made[key] for key in given])
        order = [made[key] for key in in_order_of_dependence(graph)]
        found = list(assess([SuspectWindow(fault, fault.window())], order, graph))
        gone = weakref.ref(graph)
        del graph
        assert len(found) == 2
        assert gone() is None
    finally:
        gc.enable()
