"""A calibration and measurement capability: the smallest U for a mode and a range of force."""

from __future__ import annotations

from marshmallow import Schema, fields, validate

from api.rules.limits import COMBINATIONS
from api.rules.uncertainty.cmc import MODES
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, Text, above, at_least


class ForceRangeSchema(StrictSchema):
    """From and to which force, both included; magnitudes."""

    lower = DecimalText(required=True, validate=at_least(0))
    upper = DecimalText(required=True, validate=at_least(0))
    unit = Text(required=True, max_length=20)


class NewCmcSchema(StrictSchema):
    """A capability to be recorded; its version is counted by the server."""

    id = Text(required=True, max_length=200)
    mode = fields.String(required=True, validate=validate.OneOf(MODES))
    range = fields.Nested(ForceRangeSchema, required=True)
    U_rel_pct = DecimalText(
        validate=at_least(0), metadata={"description": "U in percent of the force"}
    )
    U_abs = DecimalText(
        validate=at_least(0), metadata={"description": "U in the unit of the range"}
    )
    combine = fields.String(
        validate=validate.OneOf(COMBINATIONS),
        metadata={"description": "How both add up; default sum"},
    )
    k = DecimalText(
        validate=above(0),
        metadata={"description": "Coverage factor of U; default 2, for about 95 %"},
    )
    instrument_type = Text(
        max_length=200, metadata={"description": "Only for items of this type; default: all"}
    )
    source = Text(metadata={"description": "Scope document, or where the figures come from"})
    accreditation = Text()
    note = Text(lines=True)


class CmcAnswerSchema(Schema):
    """A capability as it is answered."""

    id = fields.String(required=True)
    version = fields.Integer(required=True)
    mode = fields.String(required=True)
    range = fields.Dict(required=True)
    U_rel_pct = fields.String(metadata={"format": "decimal"})
    U_abs = fields.String(metadata={"format": "decimal"})
    combine = fields.String()
    k = fields.String(metadata={"format": "decimal"})
    instrument_type = fields.String()
    source = fields.String()
    accreditation = fields.String()
    note = fields.String()
    versions = fields.List(fields.Integer(), metadata={"description": "Only in a single answer"})


class BelowCmcSchema(Schema):
    """The capability that a stated U is below: its id and version, and its U in the same unit."""

    cmc = fields.String(required=True)
    version = fields.Integer(required=True)
    U_cmc = fields.String(required=True, metadata={"format": "decimal"})
