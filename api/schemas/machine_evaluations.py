"""Verification runs of a testing machine, and what they come to; shape and type only."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema

from api.rules.units import FORCE_UNITS
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, Text, above, refuse
from api.schemas.run_evaluations import (
    CalibrationForceSchema,
    ClassBeginsSchema,
    PointClassSchema,
    ReadingSchema,
    TableNamedSchema,
    TableReference,
)

_READINGS = validate.Length(1, 100)
HELD = ("indicated", "applied")


class MachineSeriesSchema(StrictSchema):
    """One series: true forces by the proving instrument, and what the machine indicated."""

    ascending = fields.List(fields.Nested(ReadingSchema), required=True, validate=_READINGS)
    descending = fields.List(fields.Nested(ReadingSchema), validate=_READINGS)
    zero_after = DecimalText(metadata={"description": "Indication without force after the series"})
    note = Text(lines=True)


class NewMachineEvaluationSchema(StrictSchema):
    """The verification of one range of a testing machine."""

    unit = fields.String(
        required=True,
        validate=validate.OneOf(FORCE_UNITS),
        metadata={"description": "Of the true forces"},
    )
    indication_unit = fields.String(
        validate=validate.OneOf(FORCE_UNITS),
        metadata={"description": "Of the indications; default: that of the true forces"},
    )
    held = fields.String(
        validate=validate.OneOf(HELD),
        load_default="indicated",
        metadata={
            "description": (
                "What is the same number in every series and names a point: the indication, or the "
                "applied true force"
            )
        },
    )
    series = fields.List(
        fields.Nested(MachineSeriesSchema), required=True, validate=validate.Length(1, 20)
    )
    resolution = DecimalText(
        validate=above(0), metadata={"description": "In the unit of indication"}
    )
    range_maximum = DecimalText(
        validate=above(0),
        metadata={"description": "Largest force of the range; default: the largest that was held"},
    )
    reference = fields.Nested(
        CalibrationForceSchema, metadata={"description": "Of the proving instrument"}
    )
    class_tables = fields.List(TableReference(), validate=validate.Length(max=5))
    note = Text(lines=True)

    @validates_schema
    def _no_factor(self, data: dict[str, Any], **kwargs: Any) -> None:
        for i, one in enumerate(data.get("class_tables", ())):
            if "factor" in one:
                detail = refuse("a lower limit factor", "leave it out; it is of instruments")
                raise ValidationError({"class_tables": {i: {"factor": detail.messages}}})


class MachinePointSchema(Schema):
    """What the series say at one point; figures and errors in percent of the true force."""

    held = fields.String(required=True)
    errors = fields.List(
        fields.String(), required=True, metadata={"description": "Of each series, in percent"}
    )
    figures = fields.Dict(keys=fields.String(), values=fields.String(allow_none=True))
    reasons = fields.Dict(keys=fields.String(), values=fields.String())
    U_rel_pct = fields.String(
        required=True, metadata={"description": "Of the accuracy error, k = 2, by what was given"}
    )
    contributions = fields.Dict(
        keys=fields.String(),
        values=fields.String(),
        metadata={"description": "Relative standard uncertainties in percent, by name"},
    )
    classes = fields.List(fields.Nested(PointClassSchema), required=True)


class MachineTableReportSchema(Schema):
    """What one class table says of the range."""

    table = fields.Nested(TableNamedSchema, required=True)
    case = fields.String()
    ranges = fields.List(fields.Nested(ClassBeginsSchema), required=True)
    notice = fields.String(required=True, allow_none=True)


class MachineEvaluationSchema(Schema):
    """An evaluated verification; nothing of it is stored."""

    unit = fields.String(required=True)
    indication_unit = fields.String(required=True)
    held = fields.String(required=True)
    points = fields.List(fields.Nested(MachinePointSchema), required=True)
    class_reports = fields.List(fields.Nested(MachineTableReportSchema), required=True)
    notes = fields.List(fields.String(), required=True)
    engine_version = fields.String(required=True)
