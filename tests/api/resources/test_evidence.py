"""Evidence for a recall over HTTP: PROV and GraphML read back, the picture, paths in sentences."""

from __future__ import annotations

import io
import json
from xml.etree import ElementTree as ET

import networkx as nx
import pytest
from oracle_cases import cal, force_fault, lab, ref, row
from prov.model import ProvDocument

from api.services.evidence import evidence, layout
from graph.affected import certificate_node, identity

SVG = "{http://www.w3.org/2000/svg}"
FILES = ("provenance", "graph.graphml", "graph.json", "figure.svg", "figure.png")
REACHED = (
    "affected",
    "indeterminate",
    "cannot_be_excluded",
    "exposed_zero_effect",
    "traced_not_recalled",
)
CALIBRATIONS = [
    cal("W/1", "WS", "02-01", [ref("REF")], customer="Harbour Cranes"),
    cal("C-1", "I-1", "03-01", [ref("WS", "0.5"), ref("REF", "0.5")], [row(error="-0.006")]),
    cal("C-2", "I-2", "03-02", [ref("WS")]),
    cal("C-3", "I-3", "03-03", [ref("REF", "0")]),
    cal("C-4", "I-4", "03-04", [ref("REF")], []),
    cal("C-5", "I-5", "03-05", [ref("REF")], status="voided", void_reason="a slip"),
    cal("C-6", "I-6", "2026-03-05", [ref("REF")]),
    # In the window, and the record names no force reference; and who rests on that.
    cal("C-7", "I-7", "03-07", [{"item": "MON", "role": "environment"}]),
    cal("C-8", "I-8", "03-08", [ref("I-7")]),
]


@pytest.fixture
def recalled(recall_of):
    """A recall with a certificate in most lists."""
    return recall_of(lab(*CALIBRATIONS))


def texts(picture):
    return ["".join(node.itertext()).strip() for node in ET.fromstring(picture).iter(f"{SVG}text")]


def reached(recall):
    return [entry for name in REACHED for entry in recall[name]]


def test_provenance_is_read_back_by_the_prov_library(recalled):
    answer = recalled.client.get(f"{recalled.at}/provenance")
    assert answer.mimetype == "application/json"
    document = ProvDocument.deserialize(content=answer.text, format="json")
    entities = {str(one.identifier) for one in document.get_records()}
    nodes = {f"rec:{certificate_node(identity(one))}" for one in reached(recalled.recall)}
    assert nodes <= entities
    use = answer.get_json()["used"]["rec:use/calibration/C-1/of/item/WS/as/W%2F1/0"]
    assert (use["prov:role"], use["th:weight"]) == ("force_reference", "0.5")


def test_the_certificates_of_the_graph_are_those_of_the_entries(recalled):
    answer = recalled.client.get(f"{recalled.at}/graph.graphml")
    assert answer.mimetype == "application/graphml+xml"
    graph = nx.read_graphml(io.BytesIO(answer.data))
    found = {
        (facts["number"], facts["revision"], facts["list"], facts.get("generation"))
        for _, facts in graph.nodes(data=True)
        if facts["kind"] == "certificate"
    }
    assert found == {
        (one["certificate"], one["revision"], one["class"], one.get("generation"))
        for one in reached(recalled.recall)
    }
    assert graph.nodes["certificate/W%2F1/0"]["customer"] == "Harbour Cranes"
    assert graph.edges["item/WS/as/W%2F1/0", "certificate/C-1/0"]["weight"] == "0.5"
    assert nx.descendants(graph, "fault/REF") == set(graph) - {"fault/REF"}


def test_the_graph_comes_as_json_that_networkx_reads_as_the_same_graph(recalled):
    answer = recalled.client.get(f"{recalled.at}/graph.json")
    graph = nx.node_link_graph(answer.get_json(), edges="edges")
    assert isinstance(graph, nx.MultiDiGraph)
    written = nx.read_graphml(io.BytesIO(recalled.client.get(f"{recalled.at}/graph.graphml").data))
    assert dict(graph.nodes(data=True)) == dict(written.nodes(data=True))
    assert set(graph.edges()) == set(written.edges())
    (used,) = graph["item/WS/as/W%2F1/0"]["certificate/C-1/0"].values()
    assert (used["kind"], used["weight"], used["at"]) == ("used", "0.5", "2025-03-01T10:00:00Z")
    (assigned,) = graph["certificate/W%2F1/0"]["item/WS/as/W%2F1/0"].values()
    assert assigned == {"kind": "assigned", "at": "2025-02-01T10:00:00Z"}


def test_the_picture_holds_every_label_and_a_legend_of_what_is_there(recalled):
    found = texts(recalled.client.get(f"{recalled.at}/figure.svg").data)
    for one in reached(recalled.recall):
        assert one["certificate"] in found
        assert one["item"] in found
    assert "REF" in found
    assert {"affected", "indeterminate", "exposed, no effect", "traced, not recalled"} <= {*found}
    assert found.count("cannot be excluded") == 2  # the heading of their column, and the legend
    assert {"a verdict changes", "generation 1", "generation 2"} <= {*found}
    assert "C-6" not in found  # cleared


# DESIGN section 10: those who may rest on the fault count everywhere as the other lists do.
MAY = (
    ("certificate/C-7/0", "no_use_in_role", "item/REF/faulty", {"kind": "may"}),
    (
        "certificate/C-8/0",
        "rests_on_doubt",
        "item/I-7/as/C-7/0",
        {
            "kind": "may",
            "role": "force_reference",
            "at": "2025-03-08T10:00:00Z",
            "weight": "1",
        },
    ),
)


@pytest.mark.parametrize(("node", "reasons", "before", "edge"), MAY)
def test_what_cannot_be_excluded_is_in_the_graph_with_its_reasons(
    recalled, node, reasons, before, edge
):
    answer = recalled.client.get(f"{recalled.at}/graph.json").get_json()
    graph = nx.node_link_graph(answer, edges="edges")
    facts = graph.nodes[node]
    assert (facts["list"], facts["reasons"]) == ("cannot_be_excluded", reasons)
    assert list(graph[before][node].values()) == [edge]
    written = nx.read_graphml(io.BytesIO(recalled.client.get(f"{recalled.at}/graph.graphml").data))
    assert written.nodes[node] == facts
    provenance = recalled.client.get(f"{recalled.at}/provenance").get_json()
    assert provenance["entity"][f"rec:{node}"]["th:reasons"] == reasons
    influence = provenance["wasInfluencedBy"][f"rec:influence/{node}/of/{before}"]
    assert influence["prov:type"]["$"] == "th:MayRestOn"
    assert influence["th:reasons"] == reasons
    # Nobody knows that it was used.
    _, number, _ = node.split("/")
    assert f"rec:use/calibration/{number}/of/{before}" not in provenance["used"]
    derived = [one["prov:generatedEntity"] for one in provenance["wasDerivedFrom"].values()]
    assert f"rec:{node}" not in derived


def test_a_changed_verdict_has_a_mark_of_its_own_shape(recalled):
    root = ET.fromstring(recalled.client.get(f"{recalled.at}/figure.svg").data)
    groups = {group.get("id"): group for group in root.iter(f"{SVG}g")}
    places = [(use.get("x"), use.get("y")) for use in root.iter(f"{SVG}use")]

    def shapes_of(node):
        use = next(groups[node].iter(f"{SVG}use"))
        return places.count((use.get("x"), use.get("y")))

    assert shapes_of("certificate/C-1/0") == 2  # the circle and its cross
    assert shapes_of("certificate/C-2/0") == 1


def test_a_long_column_counts_what_stays_and_draws_what_changes(recalled, monkeypatch):
    monkeypatch.setattr(layout, "MOST_DRAWN", 2)
    found = texts(recalled.client.get(f"{recalled.at}/figure.svg").data)
    assert "C-1" in found
    assert "1 indeterminate" in found
    assert "C-4" not in found
    assert "several, counted" in found


@pytest.mark.parametrize("file", FILES)
def test_the_same_bytes_come_twice(recalled, file):
    first, second = (recalled.client.get(f"{recalled.at}/{file}") for _ in range(2))
    assert first.status_code == 200
    assert first.data == second.data


@pytest.mark.parametrize("file", FILES)
def test_a_recall_that_reaches_nothing_has_its_evidence_too(recalled, file):
    fault = force_fault("REF", last_good_at="2024-01-01T00:00:00Z")
    nothing = recalled.report(fault | {"isolated_at": "2024-02-01T00:00:00Z"})
    answer = recalled.client.get(f"/v1/recalls/{nothing['id']}/{file}")
    assert answer.status_code == 200
    if file == "figure.svg":
        assert "Nothing rests on the fault." in texts(answer.data)


def test_a_certificate_is_explained_path_by_path(recalled):
    answer = recalled.client.get(f"{recalled.at}/explanations/C-1").get_json()
    assert answer["path_count"] == 2
    assert answer["class"] == "affected"
    assert answer["paths"] == [
        {"path": ["REF", "C-1"], "sentence": "C-1 used the faulty REF."},
        {
            "path": ["REF", "W/1", "WS", "C-1"],
            "sentence": "C-1 used WS, which had been calibrated (W/1) with the faulty REF.",
        },
    ]


def test_a_number_with_a_slash_is_found_and_its_revision_may_be_named(recalled):
    at = f"{recalled.at}/explanations/W/1"
    assert recalled.client.get(at).get_json()["certificate"] == "W/1"
    assert recalled.client.get(f"{at}?revision=0").status_code == 200
    assert recalled.client.get(f"{at}?revision=7").status_code == 404


def test_a_cleared_certificate_has_the_reason_and_no_path(recalled):
    answer = recalled.client.get(f"{recalled.at}/explanations/C-6").get_json()
    assert (answer["class"], answer["paths"]) == ("cleared", [])
    assert answer["detail"] == "used outside the window"


def test_one_number_of_two_issuers_asks_for_the_issuer(recall_of):
    outside = {"external": True, "issuer": "Another House"}
    made = recall_of(
        lab(
            cal("C-1", "I-1", "02-01", [ref("REF")]),
            cal("C-1", "I-2", "02-02", [ref("REF")], **outside),
        )
    )
    at = f"{made.at}/explanations/C-1"
    assert made.client.get(at).status_code == 422
    assert made.client.get(f"{at}?issuer=Another%20House").get_json()["item"] == "I-2"


@pytest.mark.parametrize("file", [*FILES, "explanations/C-1"])
def test_who_is_not_there_or_not_of_the_laboratory_gets_nothing(recalled, app, keys, file):
    assert recalled.client.get(f"/v1/recalls/77/{file}").status_code == 404
    other = app.test_client()
    bound = keys.headers("read", customer="Harbour Cranes")
    assert other.get(f"{recalled.at}/{file}", headers=bound).status_code == 403
    unscoped = keys.headers("decide")
    assert other.get(f"{recalled.at}/{file}", headers=unscoped).status_code == 403


def test_a_recall_too_large_for_one_graph_says_where_its_paths_are(recalled, monkeypatch):
    monkeypatch.setattr(evidence, "MOST_CERTIFICATES", 3)
    answer = recalled.client.get(f"{recalled.at}/provenance")
    assert answer.status_code == 422
    assert f"{recalled.at}/export.ndjson" in json.dumps(answer.get_json())
