"""Recalls that were stored before links were kept are shown as they were then: by their names."""

from __future__ import annotations

import networkx as nx
import pytest
from oracle_cases import cal, force_fault, lab, part, ref
from sqlalchemy import update

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.evidence import evidence, exports
from api.services.evidence.old_paths import last_stretch
from api.services.evidence.page_part import drawn_part
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls, run
from api.store.record_changes import position
from api.store.tables import RecallEntry

LATER = 1_893_456_000_000_000  # 2030
REF = {"item": "REF", "kind": "unknown"}
PLAIN = lab(
    cal("W-1", "WS", "02-01", [ref("REF")]),
    cal("C-1", "A", "03-01", [ref("WS", "0.5"), ref("REF", "0.5")]),
    cal("R-1", "CELL", "03-02", [ref("WS")]),
    cal("K-1", "K", "04-01", [ref("RIG")]),
    cal("G-1", "G", "06-01", []),
    composition=[part("RIG", "CELL")],
    kinds={"RIG": "force_machine"},
)
REVISED = lab(
    cal("X-1", "W1", "02-01", [ref("REF")], status="superseded"),
    cal("X-1", "W1", "02-01", [ref("REF")], revision=1),
    cal("D-1", "I-1", "03-01", [ref("W1", certificate="X-1", revision=0)]),
)


@pytest.fixture
def stored(database):
    """Store a recall of REF, with its links or as if it were older than these."""

    def made(session, laboratory, *, old):
        import_laboratory(session, LaboratorySchema().load(laboratory), 0)
        request = RecallRequestSchema().load({"fault": force_fault()})
        answer = run.recall(session, request, LATER)
        head = recalls.store(session, answer, None, LATER, position(session))
        recall = recalls.get(session, head["id"])
        if old:
            session.execute(update(RecallEntry).values(links=None))
        return recall

    with database.write() as session:
        yield lambda laboratory, *, old: (session, made(session, laboratory, old=old))


def shown(session, recall):
    """Everything that is made of a recall, without what the older ones do not tell."""
    graph = evidence.affected_graph(session, recall)
    edges = {(u, v, facts.get("role")) for u, v, facts in graph.edges(data=True)}
    said = evidence.explanation(session, recall, "K-1", None, None)
    part = drawn_part(session, recall)
    table = list(exports.rows(session, recall.id, ("affected", "cannot_be_excluded")))
    return edges, said, part.causes, part.origins, table


def test_where_every_number_is_one_certificate_the_guess_is_right(stored):
    session, recall = stored(PLAIN, old=False)
    by_key = shown(session, recall)
    session.execute(update(RecallEntry).values(links=None))
    assert shown(session, recall) == by_key
    assert by_key[1]["paths"][0]["sentence"] == (
        "K-1 used RIG, which then held CELL, which had been calibrated (R-1) with WS, "
        "which had been calibrated (W-1) with the faulty REF."
    )


def test_the_weight_is_that_of_the_record(stored):
    session, recall = stored(PLAIN, old=True)
    graph = evidence.affected_graph(session, recall)
    (edge,) = graph["item/WS/as/W-1/0"]["certificate/C-1/0"].values()
    assert edge["weight"] == "0.5"


def test_of_several_revisions_the_recalled_one_is_taken_which_may_be_wrong(stored):
    # D-1 rests on revision 0, which its path cannot say.
    session, recall = stored(REVISED, old=True)
    graph = evidence.affected_graph(session, recall)
    assert set(graph.predecessors("certificate/D-1/0")) == {"item/W1/as/X-1/1"}
    assert nx.has_path(graph, "fault/REF", "certificate/D-1/0")


def test_a_table_can_be_written_of_an_old_recall(stored):
    session, recall = stored(PLAIN, old=True)
    rows = exports.rows(session, recall.id, ("affected",))
    place = exports.COLUMNS.index("path")
    told = {row[1]: row[place] for row in rows}
    assert told["W-1"] == "REF was used for W-1"
    assert told["K-1"] == (
        "REF was used for W-1, which calibrated WS, which was used for R-1, "
        "which calibrated CELL in RIG, which was used for K-1"
    )


@pytest.mark.parametrize(
    ("fault", "before"),
    [
        (REF, ["REF"]),
        ({"item": "PIN", "kind": "x"}, ["PIN", "CLV", "SET"]),
        ({"item": "I", "channel": "A"}, ["I:A", "readout_dut"]),
        ({"item": "I:A", "kind": "x"}, ["I:A"]),
        ({"method": "MP v3"}, ["method:MP v3"]),
        ({"certificate": "W-1"}, ["W-1", "WS"]),
    ],
)
def test_every_form_of_path_is_taken_apart(fault, before):
    items_of = {"C": {"I-1"}}
    faults = [{"item": "OTHER", "kind": "x"}, fault]
    assert last_stretch([*before, "C"], faults, items_of) == (1, None, tuple(before))
    longer = [*before, "C", "I-1", "RIG", "E"]
    assert last_stretch(longer, faults, items_of) == (1, "C", ("I-1", "RIG"))


def test_a_path_that_no_fault_begins_is_left_out():
    assert last_stretch(["ODD", "C"], [REF], {}) is None
