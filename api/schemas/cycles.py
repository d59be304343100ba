"""The load cycles of a part: counted, compared with its life, and foreseen."""

from __future__ import annotations

from marshmallow import Schema, fields, validate

from api.rules.fitting.life import STATES
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, MomentText, WholeNumber, at_least
from api.schemas.load_events import LoadEventSchema

_MOST_DAYS = 36_525
_MOST_EXPONENT = 20


class CycleQuerySchema(StrictSchema):
    """When, over how many days the rate is taken, and the exponent of a weighted count."""

    at = MomentText(metadata={"description": "Instant of the count; now unless given"})
    rate_days = fields.Integer(load_default=365, validate=validate.Range(1, _MOST_DAYS))
    m = fields.Integer(
        validate=validate.Range(1, _MOST_EXPONENT),
        metadata={"description": "Also count each application as (F/F_rated)^m"},
    )


class NearLifeQuerySchema(StrictSchema):
    """Parts from which share of their design life on, and when."""

    share_from = DecimalText(
        load_default="0.9",
        validate=at_least(0),
        metadata={"description": "Share of the design life from which a part is listed"},
    )
    at = MomentText(metadata={"description": "Instant of the count; now unless given"})
    rate_days = fields.Integer(load_default=365, validate=validate.Range(1, _MOST_DAYS))


class CycleBaseSchema(Schema):
    """Where the count begins: the last inspection, the start of service, or the first record."""

    cycles = WholeNumber(required=True)
    since = fields.String(
        required=True, validate=validate.OneOf(("inspection", "in_service_from", "records"))
    )
    at = fields.String()
    check = fields.String()


class CycleRateSchema(Schema):
    """Applications in the last days, and a day."""

    days = fields.Integer(required=True)
    applications = WholeNumber(required=True)
    per_day = DecimalText(required=True)


class RetirementSchema(Schema):
    """The date on which the life is used up at the present rate, or why there is none."""

    on = fields.String(required=True, allow_none=True)
    reason = fields.String()


class CycleTotalSchema(Schema):
    """The count of one part and what is left of its life."""

    item = fields.String(required=True)
    type = fields.String()
    at = fields.String(required=True)
    cycles = WholeNumber(required=True)
    base = fields.Nested(CycleBaseSchema, required=True)
    design_life_cycles = WholeNumber()
    share = DecimalText(allow_none=True)
    remaining = fields.Integer()
    state = fields.String(validate=validate.OneOf(STATES))
    rate = fields.Nested(CycleRateSchema, required=True)
    retirement = fields.Nested(RetirementSchema, required=True)


class CycleUseSchema(Schema):
    """One calibration that loaded the part."""

    certificate = fields.String(required=True)
    revision = fields.Integer(required=True)
    issuer = fields.String()
    status = fields.String(required=True)
    item = fields.String(required=True)
    at = fields.String(required=True)
    applications = WholeNumber(required=True)


class LaterUseSchema(CycleUseSchema):
    """A calibration that used the part when it should have been looked at first."""

    after = fields.List(fields.String(), required=True)


class WeightedSchema(Schema):
    """The count with each application as (F/F_rated)^m; the base counts whole."""

    m = fields.Integer(required=True)
    cycles = DecimalText(required=True, allow_none=True)
    without_force = WholeNumber(metadata={"description": "Applications whose force is not known"})
    reason = fields.String()


class CyclesSchema(CycleTotalSchema):
    """The ledger of one part."""

    weighted = fields.Nested(WeightedSchema)
    life_passed_at = fields.String(allow_none=True)
    uses = fields.List(fields.Nested(CycleUseSchema), required=True)
    use_count = WholeNumber(required=True)
    events = fields.List(fields.Nested(LoadEventSchema), required=True)
    open_events = fields.List(
        fields.String(), metadata={"description": "Events without a passed inspection since"}
    )
    later_uses = fields.List(fields.Nested(LaterUseSchema), required=True)
    later_use_count = WholeNumber(required=True)
