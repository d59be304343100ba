"""Raw runs of a force instrument, and what they say of it; shape and type only."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, fields, validate

from api.rules.uncertainty.interpolation import DEGREES
from api.rules.units import FORCE_UNITS
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, Mode, MomentText, Text, WholeNumber, above, at_least

_READINGS = validate.Length(1, 100)


class ReadingSchema(StrictSchema):
    """One reading: the applied force, always positive, and what the instrument indicated."""

    applied = DecimalText(required=True, validate=above(0))
    indicated = DecimalText(required=True)


class SeriesSchema(StrictSchema):
    """One series of readings at one rotation, with the readings without force around it."""

    rotation_deg = DecimalText(required=True, validate=validate.Range(-360, 360))
    zero_before = DecimalText(required=True)
    zero_after = DecimalText()
    ascending = fields.List(fields.Nested(ReadingSchema), required=True, validate=_READINGS)
    descending = fields.List(fields.Nested(ReadingSchema), validate=_READINGS)
    note = Text(lines=True)


class CreepSchema(StrictSchema):
    """Readings at 30 s and at 300 s after the force was applied, or removed."""

    at_30_s = DecimalText(required=True)
    at_300_s = DecimalText(required=True)


class CalibrationForceSchema(StrictSchema):
    """Expanded uncertainty of the reference force in percent of it."""

    U_rel_pct = DecimalText(required=True, validate=at_least(0))
    k = DecimalText(validate=above(0), metadata={"description": "Default 2"})


class TemperatureSchema(StrictSchema):
    """Whole range of temperature, and its effect in percent of the deflection a kelvin."""

    range_K = DecimalText(required=True, validate=at_least(0))
    coefficient_pct_per_K = DecimalText(required=True, validate=at_least(0))


class TableReferenceSchema(StrictSchema):
    """A class table, its version, the case of use, and a lower limit factor in place of its own."""

    id = Text(required=True, max_length=200)
    version = WholeNumber(minimum=1, maximum=2**31 - 1)
    case = Text(max_length=40)
    factor = DecimalText(validate=above(0))


_REFERENCE = TableReferenceSchema()


class TableReference(fields.Field[dict[str, Any]]):
    """The id of a class table, or {"id", "version", "case", "factor"}."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> dict[str, Any]:
        found: dict[str, Any] = _REFERENCE.load({"id": value} if isinstance(value, str) else value)
        return found


class NewRunEvaluationSchema(StrictSchema):
    """The raw runs of one calibration."""

    item = Text(max_length=200, metadata={"description": "Instrument, if it is recorded"})
    set_up_check = WholeNumber(
        minimum=1,
        metadata={"description": "Id of the check of the set-up; the item is taken from it"},
    )
    mode = Mode()
    performed_at = MomentText(metadata={"description": "When the runs were made"})
    force_unit = fields.String(required=True, validate=validate.OneOf(FORCE_UNITS))
    indication_unit = Text(required=True, max_length=40, metadata={"description": "As mV/V or kN"})
    series = fields.List(
        fields.Nested(SeriesSchema),
        required=True,
        validate=validate.Length(1, 20),
        metadata={"description": "One series for each rotation"},
    )
    repeated = fields.List(
        fields.Nested(SeriesSchema),
        validate=validate.Length(max=20),
        metadata={"description": "Further series at the rotation of one of them"},
    )
    creep = fields.Nested(CreepSchema)
    resolution = DecimalText(
        validate=above(0), metadata={"description": "In the unit of indication"}
    )
    reference = fields.Nested(
        CalibrationForceSchema,
        metadata={"description": "Default: as the references of the checked set-up state it"},
    )
    temperature = fields.Nested(TemperatureSchema)
    degree = WholeNumber(
        minimum=min(DEGREES),
        maximum=max(DEGREES),
        load_default=3,
        metadata={"description": "Of the polynomial"},
    )
    constant_term = fields.Boolean(load_default=True, truthy={True}, falsy={False})
    class_tables = fields.List(TableReference(), validate=validate.Length(max=5))
    note = Text(lines=True)
    store = fields.Boolean(load_default=True, truthy={True}, falsy={False})


class RunQuerySchema(StrictSchema):
    """Filters of a list of run evaluations."""

    item = Text(max_length=200)


class FitAnswerSchema(Schema):
    """The polynomial: deflection over force, coefficients from the power 0 upwards."""

    degree = fields.Integer(required=True)
    constant_term = fields.Boolean(required=True)
    coefficients = fields.List(fields.String(), required=True)
    residual_sd = fields.String(
        required=True, metadata={"description": "In the unit of indication"}
    )
    residual_sd_force = fields.String(
        required=True, allow_none=True, metadata={"description": "In the unit of force"}
    )
    dof = fields.Integer(required=True)
    readings = fields.Integer(required=True)


class DeflectionSchema(Schema):
    """Deflection of one series: the reading less the zero before it."""

    rotation_deg = fields.String(required=True)
    repeated = fields.Boolean(required=True)
    deflection = fields.String(required=True)
    descending = fields.String()


class LeftOutSchema(Schema):
    """A contribution that the runs cannot give, and why."""

    label = fields.String(required=True)
    name = fields.String(required=True)
    reason = fields.String(required=True)


class ContributionSchema(Schema):
    """One contribution to the combined relative uncertainty."""

    label = fields.String(required=True)
    name = fields.String(required=True)
    u_rel_pct = fields.String(required=True)


class PointUncertaintySchema(Schema):
    """w1 to w8 of one point; `components` can be sent to a budget as they are."""

    components = fields.List(fields.Dict(), required=True)
    contributions = fields.List(fields.Nested(ContributionSchema), required=True)
    left_out = fields.List(fields.Nested(LeftOutSchema), required=True)
    u_rel_pct = fields.String(required=True, allow_none=True)
    k = fields.String(required=True)
    U_rel_pct = fields.String(required=True, allow_none=True)
    U = fields.String(required=True, allow_none=True)
    U_reported = fields.String(required=True, allow_none=True)
    reason = fields.String(required=True, allow_none=True)


class JudgedSchema(Schema):
    """How one criterion came out."""

    criterion = fields.String(required=True)
    outcome = fields.String(
        required=True,
        validate=validate.OneOf(("met", "outside", "not_judged", "not_applicable")),
    )
    meets = fields.String(required=True, allow_none=True)
    reason = fields.String(required=True, allow_none=True)


class PointClassSchema(Schema):
    """The class of one point by one table; null with the reason where there is none."""

    table = fields.String(required=True)
    criteria = fields.List(fields.Nested(JudgedSchema), required=True)
    meets = fields.String(required=True, allow_none=True)
    worst_judged = fields.String(required=True, allow_none=True)
    reason = fields.String(required=True, allow_none=True)


class RunPointSchema(Schema):
    """What the runs give at one force; figures in percent, resolution_ratio as it is."""

    applied = fields.String(required=True)
    deflections = fields.List(fields.Nested(DeflectionSchema), required=True)
    mean_deflection = fields.String(required=True)
    fitted_deflection = fields.String(required=True, allow_none=True)
    figures = fields.Dict(keys=fields.String(), values=fields.String(allow_none=True))
    reasons = fields.Dict(keys=fields.String(), values=fields.String())
    uncertainty = fields.Nested(PointUncertaintySchema, required=True)
    classes = fields.List(fields.Nested(PointClassSchema), required=True)


class TableNamedSchema(Schema):
    """The class table that was used."""

    id = fields.String(required=True)
    version = fields.Integer(required=True)
    title = fields.String()
    edition = fields.String()
    source = fields.String()


class ClassBeginsSchema(Schema):
    """From which force upwards a class holds, in the unit of force; null with the reason."""

    name = fields.String(required=True)
    begins = fields.String(required=True, allow_none=True)
    reason = fields.String(required=True, allow_none=True)


class LowerLimitAnswerSchema(Schema):
    """Lower limit factor (factor x residual standard deviation, as a force), and its classes."""

    factor = fields.String(required=True)
    lower_limit_factor = fields.String(required=True, allow_none=True)
    classes = fields.List(fields.Nested(ClassBeginsSchema), required=True)


class TableReportSchema(Schema):
    """What one class table says of the whole instrument."""

    table = fields.Nested(TableNamedSchema, required=True)
    case = fields.String()
    ranges = fields.List(fields.Nested(ClassBeginsSchema), required=True)
    lower_limits = fields.Nested(LowerLimitAnswerSchema, allow_none=True, required=True)
    notice = fields.String(required=True, allow_none=True)


class TakenReferenceSchema(Schema):
    """U of the references of a set-up in percent of the force, and the certificates it is from."""

    U_rel_pct = fields.String(required=True)
    k = fields.String(required=True)
    of = fields.List(fields.Dict(), required=True)


class RunEvaluationSchema(Schema):
    """Evaluated runs."""

    id = fields.Integer(required=True, allow_none=True)
    item = fields.String()
    set_up_check = fields.Integer()
    mode = fields.String()
    performed_at = fields.String()
    reference = fields.Nested(
        TakenReferenceSchema,
        metadata={"description": "Where it was taken from the references of the set-up"},
    )
    force_unit = fields.String(required=True)
    indication_unit = fields.String(required=True)
    fit = fields.Nested(FitAnswerSchema, required=True, allow_none=True)
    fit_reason = fields.String(required=True, allow_none=True)
    points = fields.List(fields.Nested(RunPointSchema), required=True)
    class_reports = fields.List(fields.Nested(TableReportSchema), required=True)
    notes = fields.List(fields.String(), required=True)


class StoredRunEvaluationSchema(RunEvaluationSchema):
    """Evaluated runs with the request they answer."""

    recorded_at = fields.String(required=True)
    engine_version = fields.String(required=True)
    request = fields.Dict(required=True)


class RunEntrySchema(Schema):
    """A run evaluation in short."""

    id = fields.Integer(required=True)
    recorded_at = fields.String(required=True)
    item = fields.String()
    force_unit = fields.String(required=True)
    points = fields.Integer(required=True)
