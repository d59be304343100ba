"""The affected part of a recall as a graph, read from entries as they are stored."""

from __future__ import annotations

import io

import networkx as nx
import pytest

from graph.affected import (
    Identity,
    Used,
    affected_part,
    certificate_node,
    graphml,
    identity,
    traced,
)

REF = {"item": "REF", "kind": "unknown"}


def entry(number, item, *paths, listed="affected", **more):
    made = {"certificate": number, "revision": 0, "item": item, "class": listed}
    made |= {"generation": 1, "reason_paths": [list(path) for path in paths]}
    return made | {"path_count": len(paths), "verdict_changes": False} | more


def node_of(one):
    return certificate_node(identity(one))


W = entry("W", "WS", ["REF", "W"])
D = entry("D/1", "D", ["REF", "W", "WS", "D/1"], generation=2)


def test_a_certificate_is_reached_through_the_item_as_it_was_calibrated():
    part = affected_part([REF], [D, W])
    path = nx.shortest_path(part, "fault/REF", node_of(D))
    assert path == [
        "fault/REF",
        "item/REF/faulty",
        "certificate/W/0",
        "item/WS/as/W/0",
        "certificate/D%2F1/0",
    ]


@pytest.mark.parametrize(
    ("fault", "path", "concerns", "through", "role"),
    [
        (REF, ["REF", "C"], "item", (), None),
        ({"item": "PIN", "kind": "x"}, ["PIN", "ADP", "C"], "item", ("ADP",), None),
        ({"item": "PIN", "kind": "x"}, ["PIN", "CLV", "SET", "C"], "item", ("CLV", "SET"), None),
        ({"item": "I", "channel": "A"}, ["I:A", "readout_dut", "C"], "channel", (), "readout_dut"),
        ({"item": "I:A", "kind": "x"}, ["I:A", "C"], "item", (), None),
        ({"method": "MP v3"}, ["method:MP v3", "C"], "method", (), None),
        ({"certificate": "W-1"}, ["W-1", "WS", "C"], "certificate", ("WS",), None),
    ],
)
def test_every_form_of_path_is_taken_apart(fault, path, concerns, through, role):
    trace = traced(path, [REF, fault], {"C": {"I-1"}})
    assert (trace.concerns, trace.through, trace.role) == (concerns, through, role)
    assert trace.steps == (("C", None),)
    longer = traced([*path, "I-1", "E"], [REF, fault], {"C": {"I-1"}})
    assert longer.steps == (("C", "I-1"), ("E", None))


def test_a_path_of_another_fault_is_refused():
    with pytest.raises(ValueError, match="no fault of the recall begins"):
        traced(["OTHER", "C"], [REF], {})


def test_two_items_that_calibrated_each_other_in_turn_make_no_circle():
    first = entry("A-1", "A", ["REF", "A-1"])
    second = entry("B-1", "B", ["REF", "A-1", "A", "B-1"], generation=2)
    third = entry("A-2", "A", ["REF", "A-1", "A", "B-1", "B", "A-2"], generation=3)
    part = affected_part([REF], [first, second, third])
    assert nx.is_directed_acyclic_graph(part)
    assert nx.descendants(part, "fault/REF") == set(part) - {"fault/REF"}


def test_a_part_leads_through_what_held_it():
    one = entry("F", "T", ["PIN", "CLV", "SET", "F"])
    part = affected_part([{"item": "PIN", "kind": "unknown"}], [one])
    assert list(part.predecessors(node_of(one))) == ["item/SET/holding/CLV/holding/PIN/faulty"]


def test_role_and_weight_come_from_the_recorded_uses():
    uses = {Identity("", "D/1", 0): [Used("WS", "force_reference", "0.5"), Used("X", "y", "9")]}
    part = affected_part([REF], [W, D], uses)
    assert part.edges["item/WS/as/W/0", node_of(D)] == {"role": "force_reference", "weight": "0.5"}
    assert part.edges["item/REF/faulty", node_of(W)] == {}


def test_only_the_role_on_the_faulty_channel_counts():
    one = entry("X", "T", ["I:A", "readout_dut", "X"])
    uses = {identity(one): [Used("I", "readout_dut", None), Used("I", "readout_reference", None)]}
    part = affected_part([{"item": "I", "channel": "A", "kind": "x"}], [one], uses)
    assert part.edges["item/I/faulty/A", node_of(one)] == {"role": "readout_dut"}


def test_a_recalled_revision_carries_on_before_a_superseded_one():
    old = W | {"class": "traced_not_recalled"}
    new = W | {"revision": 1}
    part = affected_part([REF], [old, new, D])
    assert "item/WS/as/W/1" in part
    assert "item/WS/as/W/0" not in part


def test_entries_without_a_path_are_left_out():
    cleared = {"certificate": "Z", "revision": 0, "item": "I", "class": "cleared"}
    assert set(affected_part([REF], [W, cleared])) == set(affected_part([REF], [W]))


def test_graphml_reads_back_as_the_same_graph_and_the_order_of_entries_does_not_show():
    part = affected_part([REF], [W, D])
    written = graphml(part)
    read = nx.read_graphml(io.BytesIO(written))
    assert dict(read.nodes(data=True)) == dict(part.nodes(data=True))
    assert dict(read.edges) == dict(part.edges)
    assert graphml(affected_part([REF], [D, W])) == written


def test_a_character_that_xml_cannot_hold_is_replaced():
    odd = entry("W", "WS\ufffe", ["REF", "W"])
    read = nx.read_graphml(io.BytesIO(graphml(affected_part([REF], [odd]))))
    assert read.nodes["certificate/W/0"]["item"] == "WS\ufffd"


def test_paths_beyond_the_cap_are_counted():
    part = affected_part([REF], [W | {"path_count": 51}])
    assert part.nodes["certificate/W/0"]["paths_not_shown"] == 50
