"""The evidence of a recall names the revision, the certificate and the fault that were relied on.

Sources: ISO/IEC 17025:2017, 7.8.8.3 (a new report is uniquely identified and refers to the one that
it replaces; from memory, verify), so that evidence must say which of the two was relied on. What
each use rests on is told by the records of the laboratories below, by hand.
"""

from __future__ import annotations

import csv
import io

import networkx as nx
import pytest
from oracle_cases import cal, force_fault, lab, part, ref
from prov.model import ProvDocument

# W1 was calibrated once; its certificate was revised. D-1 names the first, D-2 the second revision.
REVISED = [
    cal("X-1", "W1", "02-01", [ref("REF")], status="superseded"),
    cal("X-1", "W1", "02-01", [ref("REF")], revision=1),
    cal("D-1", "I-1", "03-01", [ref("W1", certificate="X-1", revision=0)]),
    cal("D-2", "I-2", "03-02", [ref("W1", certificate="X-1", revision=1)]),
]
# Two laboratories gave their certificates of W1 one number, in February by REF, in June by REF2.
TWO_ISSUERS = [
    cal("X-1", "W1", "02-01", [ref("REF")], external=True, issuer="Lab A"),
    cal("X-1", "W1", "06-01", [ref("REF2")], external=True, issuer="Lab B"),
    cal("D-1", "I-1", "03-01", [ref("W1")]),
    cal("D-2", "I-2", "07-01", [ref("W1")]),
]
FAULTS = force_fault("REF"), force_fault("REF2")
# A part whose id holds a colon, as that of a channel does.
COLON = [cal("F-601", "I-1", "03-01", [{"item": "ADP-7", "role": "adapter"}])]
HELD = [part("ADP-7", "PIN:7A")]


class Asked:
    """A test client, and where its recall is."""

    def __init__(self, client, recall):
        self.client, self.at = client, f"/v1/recalls/{recall['id']}"


@pytest.fixture
def recall_of(client, once):
    """Record a laboratory and a recall of one fault or several."""

    def made(client, laboratory, faults):
        assert client.post("/v1/imports", json=laboratory).status_code == 201
        answer = client.post("/v1/recalls", json={"faults": faults})
        assert answer.status_code == 201, answer.text
        return answer.get_json()

    return lambda laboratory, *faults: Asked(client, once(made, laboratory, list(faults)))


def graph_of(recalled, kind="graph.graphml"):
    answer = recalled.client.get(f"{recalled.at}/{kind}")
    assert answer.status_code == 200
    return nx.read_graphml(io.BytesIO(answer.data))


def causes(graph, node):
    """The items that lead to a certificate, as something left them."""
    return set(graph.predecessors(f"certificate/{node}"))


def test_each_certificate_rests_on_the_revision_that_its_use_named(recall_of):
    graph = graph_of(recall_of(lab(*REVISED), force_fault()))
    assert causes(graph, "D-1/0") == {"item/W1/as/X-1/0"}
    assert causes(graph, "D-2/0") == {"item/W1/as/X-1/1"}


def test_each_certificate_rests_on_that_of_its_issuer_and_on_no_other_fault(recall_of):
    graph = graph_of(recall_of(lab(*TWO_ISSUERS), *FAULTS))
    assert causes(graph, "D-1/0") == {"item/W1/as/Lab%20A/X-1/0"}
    assert causes(graph, "D-2/0") == {"item/W1/as/Lab%20B/X-1/0"}
    assert "fault/REF" not in nx.ancestors(graph, "certificate/D-2/0")
    assert "fault/REF2" not in nx.ancestors(graph, "certificate/D-1/0")


def test_provenance_derives_each_certificate_from_the_one_that_it_rested_on(recall_of):
    recalled = recall_of(lab(*TWO_ISSUERS), *FAULTS)
    answer = recalled.client.get(f"{recalled.at}/provenance")
    document = ProvDocument.deserialize(content=answer.text, format="json")
    names = {one.identifier.localpart for one in document.get_records() if one.identifier}
    assert "derivation/certificate/D-2/0/from/item/W1/as/Lab%20B/X-1/0" in names
    assert "derivation/certificate/D-2/0/from/item/W1/as/Lab%20A/X-1/0" not in names


@pytest.mark.parametrize(("number", "cause"), [("D-1", "REF"), ("D-2", "REF2")])
def test_the_explanation_of_a_certificate_names_its_own_fault(recall_of, number, cause):
    recalled = recall_of(lab(*TWO_ISSUERS), *FAULTS)
    told = recalled.client.get(f"{recalled.at}/explanations/{number}").get_json()["paths"]
    assert [one["sentence"] for one in told] == [
        f"{number} used W1, which had been calibrated (X-1) with the faulty {cause}."
    ]


def test_a_part_whose_id_holds_a_colon_is_told_as_a_part_in_the_table_too(recall_of):
    kinds = {"PIN:7A": "adapter_part", "ADP-7": "adapter"}
    fault = {**force_fault("PIN:7A"), "kind": "unknown"}
    del fault["delta_rel"]
    recalled = recall_of(lab(*COLON, composition=HELD, kinds=kinds), fault)
    text = recalled.client.get(f"{recalled.at}/export.csv").text
    (row,) = csv.DictReader(io.StringIO(text))
    assert row["path"] == "PIN:7A in ADP-7 was used for F-601"
    told = recalled.client.get(f"{recalled.at}/explanations/F-601").get_json()["paths"]
    assert told[0]["sentence"] == "F-601 used ADP-7, which then held the faulty PIN:7A."


def test_an_item_whose_id_holds_a_colon_is_no_channel(recall_of):
    recalled = recall_of(
        lab(cal("WS-20", "A", "02-01", [ref("W:202")]), cal("D-303", "B", "03-01", [ref("A")])),
        force_fault("W:202"),
    )
    text = recalled.client.get(f"{recalled.at}/export.csv").text
    paths = {row["certificate"]: row["path"] for row in csv.DictReader(io.StringIO(text))}
    assert paths["WS-20"] == "W:202 was used for WS-20"
    assert (
        paths["D-303"] == "W:202 was used for WS-20, which calibrated A, which was used for D-303"
    )
