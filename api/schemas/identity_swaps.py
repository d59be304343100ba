"""Two items that were taken for each other during some time."""

from __future__ import annotations

from marshmallow import fields, validate

from api.schemas.base import CorrectionSchema, StrictSchema
from api.schemas.fields import MomentText, Text


class IdentitySwapSchema(CorrectionSchema):
    """Which items, and from (inclusive) until (exclusive; absent: to this day)."""

    items = fields.List(Text(max_length=200), required=True, validate=validate.Length(equal=2))
    from_ = MomentText(required=True, data_key="from")
    until = MomentText(allow_none=True)


class IdentitySwapAnswerSchema(StrictSchema):
    """The exchange, and how many records of each collection are of the other item since."""

    id = fields.Integer()
    items = fields.List(fields.String())
    from_ = fields.String(data_key="from", attribute="from")
    until = fields.String()
    moved = fields.Dict(keys=fields.String(), values=fields.Integer())
    by = fields.String()
    reason = fields.String()
    at = fields.String()
