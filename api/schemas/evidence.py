"""Evidence for a recall: its graph, and the paths of a certificate in sentences."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.base import StrictSchema
from api.schemas.fields import Text, WholeNumber


class GraphSchema(StrictSchema):
    """A graph in the node-link form of networkx."""

    directed = fields.Boolean(required=True)
    multigraph = fields.Boolean(required=True)
    graph = fields.Dict(required=True)
    nodes = fields.List(fields.Dict(), required=True)
    edges = fields.List(fields.Dict(), required=True)


class ExplainedPathSchema(StrictSchema):
    """One reason path, and the same in words."""

    path = fields.List(Text(), required=True)
    sentence = Text(required=True)


class ExplanationSchema(StrictSchema):
    """Why a certificate is listed; one that nothing faulty reached has a detail and no paths."""

    certificate = Text(required=True)
    revision = WholeNumber(required=True)
    issuer = Text(allow_none=True)
    item = Text(required=True)
    class_ = Text(attribute="class", data_key="class", required=True)
    generation = WholeNumber()
    detail = Text()
    path_count = WholeNumber(required=True)
    paths = fields.List(fields.Nested(ExplainedPathSchema), required=True)
