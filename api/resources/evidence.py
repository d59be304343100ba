"""Evidence for a recall: PROV, GraphML, a picture, and every path in a sentence."""

from __future__ import annotations

from typing import Any

from flask import Response

from api.schemas.certificates import CertificateQuerySchema
from api.schemas.evidence import ExplanationSchema, GraphSchema
from api.services.evidence import evidence
from api.services.recalls import recalls
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.pictures import documented, picture
from api.web.transactions import reading

blp = Blueprint("evidence", __name__, url_prefix="/v1/recalls", description=__doc__)
GRAPHML = "application/graphml+xml"


@blp.route("/<int:recall_id>/provenance")
@requires("read")
@blp.response(200, {"type": "object"}, description="PROV-JSON")
def show_provenance(recall_id: int) -> Response:
    """Show where the affected certificates come from, as W3C PROV-JSON.

    Of a certificate that cannot be excluded nobody knows that it rests on the fault: what may lead
    to it is an influence of type `th:MayRestOn` with its `th:reasons`, no use and no derivation.
    """
    with reading() as session:
        body = evidence.provenance(session, recalls.get(session, recall_id))
    return Response(body, mimetype="application/json")


@blp.route("/<int:recall_id>/graph.graphml")
@requires("read")
@blp.response(200, {"type": "string"}, content_type=GRAPHML)
def show_graph(recall_id: int) -> Response:
    """Show the affected part as GraphML; edges lead from cause to effect.

    It has every certificate that the fault reached, or may have: those that cannot be excluded are
    nodes with their `reasons`, and what may lead to them are edges of kind "may".
    """
    with reading() as session:
        body = evidence.as_graphml(session, recalls.get(session, recall_id))
    return Response(body, mimetype=GRAPHML)


@blp.route("/<int:recall_id>/graph.json")
@requires("read")
@blp.response(200, GraphSchema)
def show_graph_as_json(recall_id: int) -> Any:
    """Show the affected part in node-link form; edges lead from cause to effect.

    Nodes have an `id`, a `kind` (fault, item, certificate) and a `label`; edges a `kind` (concerns,
    assigned, held, used, may) and, where an item was used for a certificate, `role`, `at`, `weight`
    and `channel` of that use. Certificates that cannot be excluded carry their `reasons`, and edges
    of kind "may" lead to them. `networkx.node_link_graph(answer, edges="edges")` reads it as the
    `MultiDiGraph` that it is.
    """
    with reading() as session:
        return evidence.as_node_link(session, recalls.get(session, recall_id))


@blp.route("/<int:recall_id>/explanations/<path:number>")
@requires("read")
@blp.arguments(CertificateQuerySchema, location="query")
@blp.response(200, ExplanationSchema)
def explain(query: dict[str, Any], recall_id: int, number: str) -> Any:
    """Explain why a certificate is listed: each of its paths in a sentence."""
    with reading() as session:
        recall = recalls.get(session, recall_id)
        return evidence.explanation(
            session, recall, number, query.get("issuer"), query.get("revision")
        )


@blp.route("/<int:recall_id>/figure.svg")
@requires("read")
@blp.response(**documented("svg"))
def show_figure(recall_id: int) -> Response:
    """Draw the affected part: the faulty item, and the certificates by generation."""
    return _figure(recall_id, "svg")


@blp.route("/<int:recall_id>/figure.png")
@requires("read")
@blp.response(**documented("png"))
def show_figure_as_png(recall_id: int) -> Response:
    """Draw the affected part as a PNG file; see figure.svg."""
    return _figure(recall_id, "png")


def _figure(recall_id: int, kind: str) -> Response:
    # Only a picture needs matplotlib, which takes long to import.
    from api.services.evidence.figure import recall_figure

    with reading() as session:
        recall = recalls.get(session, recall_id)
        part, name = evidence.affected_graph(session, recall), f"Recall {recall.number}"
    return picture(recall_figure(part, kind, name), kind)
