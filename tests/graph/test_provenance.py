"""PROV of an affected part, read back by the prov library; terms from W3C PROV-DM, from memory."""

from __future__ import annotations

import json

import networkx as nx
import pytest
from linked_entries import entry, keyed
from prov.model import (
    ProvActivity,
    ProvAgent,
    ProvDerivation,
    ProvDocument,
    ProvEntity,
    ProvInfluence,
    ProvMembership,
)

from graph.affected import affected_part
from graph.provenance import RecallFacts, prov_json

FACTS = RecallFacts("R-00001", "2025-09-12T08:00:00Z", "abc", "1", "Invented Laboratory")
FAULTS = [
    {"item": "REF", "kind": "unknown"},
    {"item": "PIN", "kind": "unknown"},
    {"item": "IND", "channel": "A", "kind": "readout_gain"},
    {"method": "MP v3", "kind": "unknown"},
    {"certificate": "EXT/7", "kind": "unknown"},
]


ENTRIES = [
    entry("W", "WS", ["REF", "W"], verdict_changes=True),
    entry("D/1", "D", ["REF", "W", "WS", "D/1"], generation=2, verdict_changes=True),
    entry("D/1", "D", ["REF", "W", "WS", "D/1"], revision=1, generation=2),
    entry("P", "T", ["PIN", "ADP", "P"], **{"class": "indeterminate", "verdict_changes": None}),
    entry("I", "U", ["IND:A", "readout_dut", "I"]),
    entry("M", "V", ["method:MP v3", "M"]),
    entry("E", "X", ["EXT/7", "WS-9", "E"], external=True, issuer="Another House"),
]
USES = {"D/1": [{"item": "WS", "role": "force_reference", "weight": "0.25"}]}


@pytest.fixture(scope="module")
def written():
    return prov_json(affected_part(*keyed(FAULTS, ENTRIES, USES)), FACTS)


@pytest.fixture(scope="module")
def document(written):
    return ProvDocument.deserialize(content=written.decode(), format="json")


def names(document, kind):
    return {record.identifier.localpart for record in document.get_records(kind)}


def test_entities_activities_and_agents_are_told_apart(document):
    assert names(document, ProvActivity) == {
        "recall/R-00001",
        "calibration/W",
        "calibration/D%2F1",
        "calibration/P",
        "calibration/I",
        "calibration/M",
        "calibration/Another%20House/E",
    }
    assert names(document, ProvAgent) == {"agent/laboratory", "agent/issuer/Another%20House"}
    entities = names(document, ProvEntity)
    assert {"certificate/D%2F1/0", "certificate/D%2F1/1", "item/WS", "item/WS/as/W/0"} <= entities


def test_no_relation_is_numbered_by_its_place(written):
    parts = json.loads(written)
    assert all(not name.startswith("_:") for kind in parts.values() for name in kind)
    assert set(parts) == {
        "prefix",
        "entity",
        "activity",
        "agent",
        "used",
        "wasGeneratedBy",
        "wasDerivedFrom",
        "wasInvalidatedBy",
        "wasAssociatedWith",
        "wasInfluencedBy",
        "specializationOf",
        "hadMember",
    }


def test_every_certificate_leads_back_to_a_fault(document):
    back = nx.DiGraph()
    for kind in (ProvDerivation, ProvMembership, ProvInfluence):
        for relation in document.get_records(kind):
            effect, cause = relation.args[:2]
            back.add_edge(effect.localpart, cause.localpart)
    for node in names(document, ProvEntity):
        if node.startswith("certificate/"):
            assert any(one.startswith("fault/") for one in nx.descendants(back, node)), node


def test_every_relation_joins_what_the_document_holds(written):
    parts = json.loads(written)
    known = {*parts["entity"], *parts["activity"], *parts["agent"]}
    named = [
        value
        for kind in set(parts) - {"prefix", "entity", "activity", "agent"}
        for relation in parts[kind].values()
        for name, value in relation.items()
        if name not in ("prov:role", "prov:type", "prov:time", "th:weight")
    ]
    assert set(named) <= known


def test_a_use_carries_role_and_weight(written):
    use = json.loads(written)["used"]["rec:use/calibration/D%2F1/of/item/WS/as/W/0"]
    assert (use["prov:role"], use["th:weight"]) == ("force_reference", "0.25")


def test_a_certificate_carries_list_generation_and_change(written):
    made = json.loads(written)["entity"]["rec:certificate/D%2F1/0"]
    assert (made["th:list"], made["th:verdictChanges"]) == ("affected", True)
    assert made["th:generation"] == {"$": "2", "type": "xsd:int"}


def test_only_what_is_affected_is_invalidated_and_by_the_recall(written):
    invalidated = json.loads(written)["wasInvalidatedBy"].values()
    assert len(invalidated) == len(ENTRIES) - 1
    assert "rec:certificate/P/0" not in {one["prov:entity"] for one in invalidated}
    assert {one["prov:activity"] for one in invalidated} == {"rec:recall/R-00001"}


def test_the_same_part_gives_the_same_bytes_whatever_the_order_of_its_entries(written):
    assert prov_json(affected_part(*keyed(FAULTS, ENTRIES[::-1], USES)), FACTS) == written
