"""The affected part of a recall as a graph, read from entries as they are stored."""

from __future__ import annotations

import io
import json

import networkx as nx
from linked_entries import entry, keyed

from graph.affected import affected_part, certificate_node, graphml, identity, node_link

REF = {"item": "REF", "kind": "unknown"}


def node_of(one):
    return certificate_node(identity(one))


W = entry("W", "WS", ["REF", "W"])
D = entry("D/1", "D", ["REF", "W", "WS", "D/1"], generation=2)


def test_a_certificate_is_reached_through_the_item_as_it_was_calibrated():
    part = affected_part(*keyed([REF], [D, W]))
    path = nx.shortest_path(part, "fault/REF", node_of(D))
    assert path == [
        "fault/REF",
        "item/REF/faulty",
        "certificate/W/0",
        "item/WS/as/W/0",
        "certificate/D%2F1/0",
    ]


def test_two_items_that_calibrated_each_other_in_turn_make_no_circle():
    first = entry("A-1", "A", ["REF", "A-1"])
    second = entry("B-1", "B", ["REF", "A-1", "A", "B-1"], generation=2)
    third = entry("A-2", "A", ["REF", "A-1", "A", "B-1", "B", "A-2"], generation=3)
    part = affected_part(*keyed([REF], [first, second, third]))
    assert nx.is_directed_acyclic_graph(part)
    assert nx.descendants(part, "fault/REF") == set(part) - {"fault/REF"}


def test_a_part_leads_through_what_held_it():
    one = entry("F", "T", ["PIN", "CLV", "SET", "F"])
    part = affected_part(*keyed([{"item": "PIN", "kind": "unknown"}], [one]))
    assert list(part.predecessors(node_of(one))) == ["item/SET/holding/CLV/holding/PIN/faulty"]


def test_role_weight_and_instant_of_a_use_are_on_its_edge():
    use = {"item": "WS", "role": "force_reference", "weight": "0.5", "at_us": 1_000_000}
    part = affected_part(*keyed([REF], [W, D], {"D/1": [use, use | {"item": "X"}]}))
    (edge,) = part["item/WS/as/W/0"][node_of(D)].values()
    facts = {"kind": "used", "role": "force_reference", "weight": "0.5"}
    assert edge == facts | {"at": "1970-01-01T00:00:01Z"}
    assert list(part["item/REF/faulty"][node_of(W)].values()) == [{"kind": "used"}]


def test_two_uses_of_one_item_are_two_edges():
    uses = [{"item": "WS", "role": "force_reference", "weight": one} for one in ("0.25", "0.5")]
    part = affected_part(*keyed([REF], [W, D], {"D/1": uses}))
    edges = part["item/WS/as/W/0"][node_of(D)].values()
    assert [one["weight"] for one in edges] == ["0.25", "0.5"]
    # A use that two faults come through is one edge still.
    faults, entries, links = keyed([REF], [W, D], {"D/1": uses})
    twice = {key: [*some, *(one | {"fault": 1} for one in some)] for key, some in links.items()}
    again = affected_part([*faults, REF], entries, twice)
    assert again.number_of_edges("item/WS/as/W/0", node_of(D)) == 2


def test_a_weight_for_each_point_is_told_as_json():
    use = {"item": "WS", "role": "force_reference", "weight": {"1": "0.5", "2": "1"}}
    part = affected_part(*keyed([REF], [W, D], {"D/1": [use]}))
    (edge,) = part["item/WS/as/W/0"][node_of(D)].values()
    assert edge["weight"] == '{"1":"0.5","2":"1"}'


def test_a_faulty_channel_is_told_from_its_item():
    one = entry("X", "T", ["I:A", "readout_dut", "X"])
    fault = {"item": "I", "channel": "A", "kind": "x"}
    uses = [{"item": "I", "role": "readout_dut"}]
    part = affected_part(*keyed([fault], [one], {"X": uses}))
    assert part.nodes["item/I/faulty/A"]["label"] == "I:A"
    (edge,) = part["item/I/faulty/A"][node_of(one)].values()
    assert edge["role"] == "readout_dut"


def test_a_wrong_certificate_leads_through_the_item_and_what_held_it():
    one = entry("K", "T", ["W-9", "CELL", "RIG", "K"])
    part = affected_part(*keyed([{"certificate": "W-9", "kind": "unknown"}], [one]))
    assert nx.shortest_path(part, "fault/W-9", node_of(one)) == [
        "fault/W-9",
        "item/CELL/as/fault/W-9",
        "item/RIG/holding/CELL/as/fault/W-9",
        "certificate/K/0",
    ]


def test_a_method_leads_to_its_certificates():
    part = affected_part(
        *keyed([{"method": "MP v3", "kind": "x"}], [entry("M", "V", ["method:MP v3", "M"])])
    )
    assert list(part.edges()) == [("fault/method%3AMP%20v3", "certificate/M/0")]


def test_the_key_decides_which_of_two_revisions_is_meant():
    old = W | {"class": "traced_not_recalled"}
    new = W | {"revision": 1}
    faults, entries, links = keyed([REF], [old, new, D])
    for meant, name in ((1, "item/WS/as/W/0"), (2, "item/WS/as/W/1")):
        links[3] = [{"fault": 0, "cause": meant, "names": ["WS"], "use": 0}]
        part = affected_part(faults, entries, links)
        assert list(part.predecessors(node_of(D))) == [name]


def test_entries_without_a_path_are_left_out():
    cleared = {"certificate": "Z", "revision": 0, "item": "I", "class": "cleared"}
    assert set(affected_part(*keyed([REF], [W, cleared]))) == set(affected_part(*keyed([REF], [W])))


def test_graphml_reads_back_as_the_same_graph_and_the_order_of_entries_does_not_show():
    part = affected_part(*keyed([REF], [W, D]))
    written = graphml(part)
    read = nx.read_graphml(io.BytesIO(written))
    assert dict(read.nodes(data=True)) == dict(part.nodes(data=True))
    # GraphML has ids of edges, which networkx reads as keys where there is more than one of a pair.
    told = [
        (u, v, {n: x for n, x in facts.items() if n != "id"})
        for u, v, facts in read.edges(data=True)
    ]
    assert told == list(part.edges(data=True))
    assert graphml(affected_part(*keyed([REF], [D, W]))) == written


def test_the_node_link_form_reads_back_as_the_same_graph():
    part = affected_part(*keyed([REF], [W, D]))
    read = nx.node_link_graph(json.loads(json.dumps(node_link(part))), edges="edges")
    assert read.is_multigraph()
    assert read.is_directed()
    assert dict(read.nodes(data=True)) == dict(part.nodes(data=True))
    assert list(read.edges(keys=True, data=True)) == list(part.edges(keys=True, data=True))


def test_a_character_that_xml_cannot_hold_is_replaced():
    odd = entry("W", "WS\ufffe", ["REF", "W"])
    read = nx.read_graphml(io.BytesIO(graphml(affected_part(*keyed([REF], [odd])))))
    assert read.nodes["certificate/W/0"]["item"] == "WS\ufffd"


def test_paths_beyond_the_cap_are_counted():
    part = affected_part(*keyed([REF], [W | {"path_count": 51}]))
    assert part.nodes["certificate/W/0"]["paths_not_shown"] == 50
