"""A laboratory file as a graph: worked by hand, and every link as the store resolves it."""

from __future__ import annotations

import doctest
import json
from pathlib import Path

import networkx as nx
import pytest
from laboratories import of_seed
from oracle_cases import cal, lab, part, ref
from sqlalchemy import select

import graph
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store.tables import Certificate, Usage
from graph import BadLaboratory, CyclicTrace
from graph.affected import Identity, certificate_node

ROOT = Path(__file__).parents[2]
# REF was calibrated by an institute; W-1 and W-2 rest on it, D-1 on both working standards.
DIAMOND = lab(
    cal("N-1", "REF", "01-10", [], external=True, issuer="Institute"),
    cal("W-1", "WS-1", "02-01", [ref("REF")]),
    cal("W-2", "WS-2", "02-02", [ref("REF")]),
    cal("D-1", "I-1", "03-01", [ref("WS-1", "0.5"), ref("WS-2", "0.5")], customer="Harbour"),
    cal("D-2", "I-2", "03-02", [ref("WS-2")]),
)
N_1, W_1, W_2, D_1, D_2 = (
    *("certificate/Institute/N-1/0", "certificate/W-1/0", "certificate/W-2/0"),
    *("certificate/D-1/0", "certificate/D-2/0"),
)


def certificates(nodes):
    return {one for one in nodes if one.startswith("certificate/")}


def test_ancestors_descendants_and_paths_are_those_of_the_records():
    made = graph.build(DIAMOND)
    assert isinstance(made, nx.MultiDiGraph)
    assert nx.is_directed_acyclic_graph(made)
    assert certificates(nx.ancestors(made, D_1)) == {N_1, W_1, W_2}
    assert certificates(nx.ancestors(made, D_2)) == {N_1, W_2}
    assert certificates(nx.descendants(made, W_1)) == {D_1}
    # Through WS-1 and through WS-2.
    assert len(list(nx.all_simple_paths(made, N_1, D_1))) == 2


def test_what_everything_must_pass_is_found_by_dominators():
    # D-1 can be reached without W-1 and without W-2, but not without N-1 (as it left REF); D-2 not
    # without W-2: immediate dominators by hand, those of Lengauer and Tarjan by networkx.
    above = nx.immediate_dominators(graph.build(DIAMOND), N_1)
    assert above[D_1] == "item/REF/as/Institute/N-1/0"
    assert above[D_2] == "item/WS-2/as/W-2/0"


def test_edges_carry_role_instant_and_weight():
    made = graph.build(DIAMOND)
    (used,) = made["item/WS-1/as/W-1/0"][D_1].values()
    assert used == {
        **{"kind": "used", "role": "force_reference", "weight": "0.5"},
        "at": "2025-03-01T10:00:00Z",
    }
    (assigned,) = made[W_1]["item/WS-1/as/W-1/0"].values()
    assert assigned == {"kind": "assigned", "at": "2025-02-01T10:00:00Z"}
    assert made.nodes[D_1]["customer"] == "Harbour"
    assert made.nodes[N_1]["external"] is True


def test_a_cell_leads_through_the_rig_that_held_it_and_a_channel_is_a_node():
    made = graph.build(
        lab(
            cal("W-1", "CELL", "02-01", []),
            cal("K-1", "I-1", "03-01", [ref("RIG")]),
            cal("K-2", "I-2", "03-02", [{"item": "IND", "role": "readout", "channel": "A"}]),
            composition=[part("RIG", "CELL")],
            kinds={"RIG": "force_machine"},
        )
    )
    assert nx.shortest_path(made, W_1, "certificate/K-1/0") == [
        *(W_1, "item/CELL/as/W-1/0", "item/RIG/holding/CELL/as/W-1/0", "certificate/K-1/0")
    ]
    (held,) = made["item/RIG/holding/CELL/as/W-1/0"]["certificate/K-1/0"].values()
    assert held["share"] == "1"
    (stay,) = made["item/CELL/as/W-1/0"]["item/RIG/holding/CELL/as/W-1/0"].values()
    assert stay == {"kind": "held", "from": "2024-01-01T00:00:00Z"}
    assert made.nodes["channel/A/of/IND"]["kind"] == "channel"
    assert list(made.predecessors("certificate/K-2/0")) == ["channel/A/of/IND"]


def test_each_stay_of_a_part_in_which_it_was_used_is_an_edge():
    stays = [
        part("RIG", "CELL", start="2025-01-01", until="2025-04-01T00:00:00Z"),
        part("RIG", "CELL", start="2025-05-01", until="2025-08-01T00:00:00Z"),
        part("RIG", "CELL", start="2025-09-01"),  # nobody used it then
    ]
    made = graph.build(
        lab(
            cal("W-1", "CELL", "02-01", []),
            cal("K-1", "I-1", "03-01", [ref("RIG")]),
            cal("K-2", "I-2", "06-01", [ref("RIG")]),
            composition=stays,
        )
    )
    found = made["item/CELL/as/W-1/0"]["item/RIG/holding/CELL/as/W-1/0"].values()
    assert [(one["from"], one["until"]) for one in found] == [
        ("2025-01-01T00:00:00Z", "2025-04-01T00:00:00Z"),
        ("2025-05-01T00:00:00Z", "2025-08-01T00:00:00Z"),
    ]


def test_the_example_of_the_document_beside_the_code_is_right(monkeypatch):
    monkeypatch.chdir(ROOT)
    tried = doctest.testfile(str(ROOT / "graph" / "README.md"), module_relative=False)
    assert (tried.failed, tried.attempted > 5) == (0, True)


def test_the_demonstration_laboratory_is_read_from_its_file():
    path = ROOT / "fixtures" / "demo_lab" / "laboratory.json"
    made = graph.build(path)
    document = json.loads(path.read_text())
    assert len(certificates(made)) == len(document["calibrations"])
    assert nx.is_directed_acyclic_graph(made)
    # As README.md of the folder asks: the file says that W-202 and others used REF-500A.
    source = "certificate/Institute%20of%20Force%20Ostravia/OIF%2F23-0219/0"
    users = {
        one["certificate"]
        for one in document["calibrations"]
        if any(use["item"] == "REF-500A" for use in one["uses"])
    }
    below = certificates(nx.descendants(made, source))
    assert len(below) > 1
    assert {made.nodes[one]["number"] for one in below} & users


@pytest.mark.parametrize("seed", range(40))
def test_every_use_rests_on_what_the_store_says(database, seed):
    laboratory, _ = of_seed(seed)
    made = graph.build(laboratory)
    edges = {
        (before, user, facts["kind"])
        for state, user, facts in made.edges(data=True)
        if facts["kind"] in ("used", "confirmed") and "share" not in facts
        for before in causes(made, state)
    }
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(laboratory), 0)
        expected = {(source, user, kind) for user, source, kind in links(session)}
        session.rollback()
    held = {one for one in edges if one not in expected}
    assert expected <= edges
    # What is more are values of parts that measure nothing, which have no share.
    assert all(any("/holding/" in one for one in nx.shortest_path(made, a, b)) for a, b, _ in held)


def causes(made, node):
    """The certificates behind an item, whatever held it and on whatever channel."""
    found = {node}
    while not all(one.startswith("certificate/") for one in found):
        found = {
            before
            for one in found
            for before in ([one] if one.startswith("certificate/") else made.predecessors(one))
        }
    return found


def links(session):
    names = {
        row.id: certificate_node(Identity(row.issuer, row.number, row.revision))
        for row in session.execute(
            select(Certificate.id, Certificate.issuer, Certificate.number, Certificate.revision)
        )
    }
    for row in session.execute(select(Usage.certificate_id, Usage.source_id, Usage.evidence_id)):
        if row.source_id is not None:
            yield names[row.certificate_id], names[row.source_id], "used"
        if row.evidence_id is not None:
            yield names[row.certificate_id], names[row.evidence_id], "confirmed"


@pytest.mark.parametrize(
    ("calibration", "message"),
    [
        ({"certificate": "C", "item": "I"}, "/calibrations/0/performed_at: None is not a text"),
        (cal("C", "I", "03-01", [{"item": "A"}]), "/calibrations/0/uses/0/role"),
        (cal("C", "I", "2025-03-01T10:00:00", []), "/calibrations/0/performed_at: .* no time zone"),
        (cal("C", "I", "03-01", [ref("A", "much")]), "/calibrations/0/uses/0/weight: 'much'"),
    ],
)
def test_a_record_that_cannot_be_read_is_named_with_its_place(calibration, message):
    with pytest.raises(BadLaboratory, match=message):
        graph.build({"calibrations": [calibration]})


def test_a_list_is_no_laboratory():
    with pytest.raises(BadLaboratory, match="send an object"):
        graph.build([])


def test_a_calibration_that_rests_on_itself_is_refused():
    first = cal("A", "X", "03-01", [ref("Y", certificate="B")])
    second = cal("B", "Y", "03-01", [ref("X", certificate="A")])
    with pytest.raises(CyclicTrace):
        graph.build(lab(first, second))
