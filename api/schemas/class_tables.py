"""A class table: limits of an instrument's classes as data, with their edition and source."""

from __future__ import annotations

from marshmallow import Schema, fields, validate

from api.rules.uncertainty.classes import CRITERIA
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, Text, WholeNumber, above, at_least

_CRITERIA = validate.Length(1, len(CRITERIA))
_LIMITS = {"description": "One limit a class, best class first"}


class CriterionSchema(StrictSchema):
    """The limits of one criterion: at most (of its magnitude), or at least."""

    criterion = fields.String(required=True, validate=validate.OneOf(CRITERIA))
    at_most = fields.List(
        DecimalText(validate=at_least(0)), validate=validate.Length(1, 20), metadata=_LIMITS
    )
    at_least = fields.List(
        DecimalText(validate=at_least(0)), validate=validate.Length(1, 20), metadata=_LIMITS
    )
    minimum_rotations = WholeNumber(
        minimum=1,
        maximum=100,
        metadata={
            "description": (
                "With series at fewer rotations, or with fewer series of a testing machine, the "
                "criterion is not judged"
            )
        },
    )


class LowerClassSchema(StrictSchema):
    """A class that begins at a multiple of the lower limit factor."""

    name = Text(required=True, max_length=40)
    multiple = DecimalText(required=True, validate=above(0))


class LowerLimitsSchema(StrictSchema):
    """Classes by the scatter s about the fitted curve: from multiple x factor x s upwards."""

    factor = DecimalText(required=True, validate=above(0))
    minimum_series = WholeNumber(minimum=1, maximum=100)
    minimum_readings = WholeNumber(minimum=1, maximum=10_000)
    not_below_resolution = fields.Boolean(
        truthy={True},
        falsy={False},
        metadata={"description": "Whether a limit below the resolution is set equal to it"},
    )
    classes = fields.List(
        fields.Nested(LowerClassSchema), required=True, validate=validate.Length(1, 20)
    )


class NewClassTableSchema(StrictSchema):
    """A class table to be recorded; its version is counted by the server."""

    id = Text(required=True, max_length=200)
    title = Text()
    edition = Text(metadata={"description": "Edition or date of the document"})
    source = Text(
        required=True,
        metadata={"description": 'Where the figures come from, such as "from memory, verify"'},
    )
    classes = fields.List(Text(max_length=40), validate=validate.Length(1, 20))
    criteria = fields.List(fields.Nested(CriterionSchema), validate=_CRITERIA)
    cases = fields.Dict(
        keys=Text(max_length=40),
        values=fields.List(
            fields.String(validate=validate.OneOf(CRITERIA)),
            validate=_CRITERIA,
        ),
        metadata={"description": "Criteria that a use of the instrument asks for, by its name"},
    )
    lowest_share_pct = DecimalText(
        validate=at_least(0),
        metadata={"description": "No class holds below this percentage of the largest force"},
    )
    must_reach_pct = DecimalText(
        validate=at_least(0),
        metadata={
            "description": "A class holds nowhere that does not hold from this percentage of the "
            "largest force upwards"
        },
    )
    lower_limits = fields.Nested(LowerLimitsSchema)
    note = Text(lines=True)


class ClassTableAnswerSchema(Schema):
    """A class table as it is answered."""

    id = fields.String(required=True)
    version = fields.Integer(required=True)
    title = fields.String()
    edition = fields.String()
    source = fields.String()
    shipped = fields.Boolean(
        required=True, metadata={"description": "Came with the program; verify before relying"}
    )
    classes = fields.List(fields.String())
    criteria = fields.List(fields.Dict())
    cases = fields.Dict()
    lowest_share_pct = fields.String()
    must_reach_pct = fields.String()
    lower_limits = fields.Dict()
    note = fields.String()
    versions = fields.List(fields.Integer(), metadata={"description": "Only in a single answer"})
