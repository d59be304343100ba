"""A part in an assembly, from (inclusive) until (exclusive)."""

from __future__ import annotations

from decimal import Decimal

from marshmallow import fields

from api.schemas.base import AnnotatedSchema, CorrectionSchema, StrictSchema
from api.schemas.fields import DecimalText, MomentText, Text, refuse


def share_of_one(value: Decimal) -> None:
    """Refuse a share that is not above 0 and at most 1."""
    if not 0 < value <= 1:
        raise refuse(f"{value} is no share", "send more than 0 and at most 1, such as 0.3333")


class CompositionSchema(AnnotatedSchema):
    """One holding, as recorded."""

    assembly = Text(required=True, max_length=200)
    part = Text(required=True, max_length=200)
    from_ = MomentText(required=True, data_key="from")
    until = MomentText(allow_none=True)
    share = DecimalText(
        validate=share_of_one,
        metadata={"description": "Of the assembly's force, above 0 and at most 1; for its cells"},
    )


class CompositionEndSchema(StrictSchema):
    """The instant at which the part was taken out (exclusive)."""

    until = MomentText(required=True)


class CompositionCorrectionSchema(CorrectionSchema):
    """What a holding should have said; what is not named stays. Null takes a value away."""

    assembly = Text(max_length=200)
    part = Text(max_length=200)
    from_ = MomentText(data_key="from")
    until = MomentText(allow_none=True)
    share = DecimalText(allow_none=True, validate=share_of_one)
    withdrawn = fields.Boolean(
        truthy={True},
        falsy={False},
        metadata={"description": "There was no such holding; false takes it back"},
    )


class CompositionAnswerSchema(CompositionSchema):
    """One holding as it is answered."""

    id = fields.Integer()
    withdrawn = fields.Boolean()
    corrections = fields.List(fields.Dict())
    all_corrections = fields.Dict(
        metadata={"description": "Where only the latest are given: how many, and where all are"}
    )
    version = fields.Integer()


class CompositionQuerySchema(StrictSchema):
    """Filters of a list of holdings."""

    assembly = Text()
    part = Text()
