"""What is asked of an advice on the recalibration interval, and the advice."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema

from api.rules.uncertainty.intervals import METHODS
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, MomentText, above, refuse

_DAYS = validate.Range(1, 36_525)


class IntervalQuerySchema(StrictSchema):
    """The method and policy of the laboratory; intervals in days."""

    method = fields.String(load_default="staircase", validate=validate.OneOf(METHODS))
    target_reliability = DecimalText(
        validate=validate.Range(Decimal("0.5"), Decimal("0.999")),
        metadata={"description": "Share of results that are to conform as found; default 0.95"},
    )
    step_up = DecimalText(
        validate=[above(0), validate.Range(max=1)],
        metadata={"description": "Share by which a conforming result lengthens; default 0.1"},
    )
    step_down = DecimalText(
        validate=[above(0), validate.Range(max=Decimal("0.95"))],
        metadata={"description": "Share by which a failing one shortens; default by reliability"},
    )
    keep_within = DecimalText(
        validate=[above(0), validate.Range(max=1)],
        metadata={"description": "Share of the tolerance up to which it lengthens; default 0.8"},
    )
    present_interval_days = fields.Integer(
        validate=_DAYS, metadata={"description": "Default: from the last due date"}
    )
    min_interval_days = fields.Integer(validate=_DAYS)
    max_interval_days = fields.Integer(validate=_DAYS)
    reaction_days = fields.Integer(
        validate=validate.Range(0, 3650),
        metadata={"description": "Days that the laboratory needs to act before the date"},
    )
    tolerance_rel_pct = DecimalText(
        validate=above(0),
        metadata={"description": "Judge by this percentage, not by the recorded tolerances"},
    )
    at = MomentText(metadata={"description": "As of when use is counted; default now"})

    @validates_schema
    def _in_order(self, data: dict[str, Any], **kwargs: Any) -> None:
        least, most = data.get("min_interval_days"), data.get("max_interval_days")
        if least is not None and most is not None and least > most:
            error = refuse("the shortest interval is above the longest", "exchange them")
            raise ValidationError(error.messages, "min_interval_days")


class AdviceStepSchema(Schema):
    """What one consideration made of the interval, why, and where it comes from."""

    step = fields.String(required=True)
    interval_days = fields.Integer(required=True, allow_none=True)
    reason = fields.String(required=True)
    source = fields.String(required=True)


class AdviceHistorySchema(Schema):
    """One calibration of the item, as found."""

    certificate = fields.String(required=True)
    revision = fields.Integer(required=True)
    performed_at = fields.String(required=True)
    interval_days = fields.Integer(required=True, allow_none=True)
    share_of_tolerance = fields.String(required=True, allow_none=True)
    outcome = fields.String(
        required=True, validate=validate.OneOf(("inside", "outside", "unknown"))
    )


class AdviceUseSchema(Schema):
    """Wear and load applications as recorded."""

    wear_pct = fields.String(required=True, allow_none=True)
    limit_pct = fields.String(required=True, allow_none=True)
    applications_per_year = fields.String(required=True, allow_none=True)
    applications_so_far = fields.Integer(required=True)
    design_life_cycles = fields.Integer(required=True, allow_none=True)


class IntervalAdviceSchema(Schema):
    """Advice on the interval; null where none can be given."""

    item = fields.String(required=True)
    method = fields.String(required=True)
    too_little_history = fields.Boolean(required=True)
    present_interval_days = fields.Integer(required=True, allow_none=True)
    interval_days = fields.Integer(required=True, allow_none=True)
    last_calibrated_at = fields.String(required=True, allow_none=True)
    next_date = fields.String(required=True, allow_none=True)
    act_by = fields.String(required=True, allow_none=True)
    steps = fields.List(fields.Nested(AdviceStepSchema), required=True)
    history = fields.List(fields.Nested(AdviceHistorySchema), required=True)
    use = fields.Nested(AdviceUseSchema, required=True)
    notes = fields.List(fields.String(), required=True)
    statement = fields.String(required=True)
