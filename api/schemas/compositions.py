"""A part in an assembly, from (inclusive) until (exclusive)."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.base import AnnotatedSchema, StrictSchema
from api.schemas.fields import MomentText, Text


class CompositionSchema(AnnotatedSchema):
    """One holding, as recorded."""

    assembly = Text(required=True, max_length=200)
    part = Text(required=True, max_length=200)
    from_ = MomentText(required=True, data_key="from")
    until = MomentText(allow_none=True)


class CompositionEndSchema(StrictSchema):
    """The instant at which the part was taken out (exclusive)."""

    until = MomentText(required=True)


class CompositionAnswerSchema(CompositionSchema):
    """One holding as it is answered."""

    id = fields.Integer()
    version = fields.Integer()


class CompositionQuerySchema(StrictSchema):
    """Filters of a list of holdings."""

    assembly = Text()
    part = Text()
