"""Two set-ups compared on one instrument: readings in, differences and the effect out."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema

from api.rules.uncertainty.comparison import PAIRINGS, WEIGHTINGS
from api.rules.units import UnknownUnit, factor
from api.schemas.base import AnnotatedSchema, StrictSchema
from api.schemas.faults import OtherTypes
from api.schemas.fields import DecimalText, MomentText, Text, WholeNumber, above, at_least, refuse

SETUPS = ("usual", "other")
INSIGNIFICANT = ("refuse", "use", "zero")
# Exact fractions of as many points with the longest numbers still take less than a second.
_MOST_RUNS, _MOST_POINTS, _MOST_PARTS = 100, 100, 50


def _force_unit(unit: str) -> None:
    try:
        factor(unit)
    except UnknownUnit as unknown:
        raise refuse(str(unknown), "give readings and forces in one unit of force") from None


def _confidence(value: Decimal) -> None:
    if not Decimal("0.5") <= value < 1:
        raise refuse(f"{value} is no confidence", "send 0.5 or more, below 1, such as 0.95")


class ComparedInstrumentSchema(StrictSchema):
    """The instrument that was read: a recorded item, or a type."""

    item = Text(max_length=200)
    type = Text(metadata={"description": "Needed where no item is named, or the item has none"})
    capacity = Text()

    @validates_schema
    def _named(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "item" not in data and "type" not in data:
            error = refuse("one of item and type is needed", "name the instrument, or its type")
            raise ValidationError(error.messages, "item")


class ComparedSetupSchema(StrictSchema):
    """One of the two set-ups; what is stated of both and differs is what was compared."""

    name = Text(required=True, max_length=200)
    parts = fields.List(
        Text(max_length=200),
        validate=validate.Length(max=_MOST_PARTS),
        metadata={"description": "Ids of recorded items"},
    )
    pin_diameter = Text(max_length=40, metadata={"description": 'With its unit, such as "2 in"'})
    shackle_style = Text(max_length=200)
    shackle_size = Text(max_length=40)
    rod_thread = Text(max_length=200)
    roller_bearings = fields.Boolean(truthy={True}, falsy={False})
    spherical_seat = fields.Boolean(truthy={True}, falsy={False})
    note = Text(lines=True)


class BothSetupsSchema(StrictSchema):
    """The usual set-up and the other one."""

    usual = fields.Nested(ComparedSetupSchema, required=True)
    other = fields.Nested(ComparedSetupSchema, required=True)


def _readings() -> fields.List[Any]:
    return fields.List(
        DecimalText(allow_none=True),
        required=True,
        validate=validate.Length(min=1, max=_MOST_RUNS),
        metadata={"description": "By run, in their order; null where a run was not made"},
    )


class ComparedPointSchema(StrictSchema):
    """Readings at one applied force, all in the unit of the comparison."""

    applied = DecimalText(required=True)
    usual = _readings()
    other = _readings()
    usual_U = DecimalText(
        validate=at_least(0), metadata={"description": "Expanded uncertainty, at k"}
    )
    other_U = DecimalText(validate=at_least(0))
    common_U = DecimalText(
        validate=at_least(0),
        metadata={"description": "What both hold of the same reference; it cancels"},
    )


class NewSetupComparisonSchema(AnnotatedSchema):
    """A comparison to be worked out, and recorded unless `store` is false."""

    instrument = fields.Nested(ComparedInstrumentSchema, required=True)
    unit = Text(required=True, max_length=20, validate=_force_unit)
    setups = fields.Nested(BothSetupsSchema, required=True)
    points = fields.List(
        fields.Nested(ComparedPointSchema),
        required=True,
        validate=validate.Length(min=1, max=_MOST_POINTS),
    )
    resolution = DecimalText(
        validate=above(0), metadata={"description": "One digit of the instrument"}
    )
    k = DecimalText(load_default=Decimal(2), validate=above(0))
    confidence = DecimalText(load_default=Decimal("0.95"), validate=_confidence)
    pairing = fields.String(
        load_default="by_run",
        validate=validate.OneOf(PAIRINGS),
        metadata={"description": "none: the runs of the two set-ups do not belong together"},
    )
    weighting = fields.String(load_default="plain", validate=validate.OneOf(WEIGHTINGS))
    performed_at = MomentText(required=True)
    person = Text(required=True, max_length=200)
    store = fields.Boolean(load_default=True, truthy={True}, falsy={False})


class SetupComparisonQuerySchema(StrictSchema):
    """Filters of a list of comparisons."""

    item = Text(metadata={"description": "The instrument, or a part of either set-up"})
    type = Text(metadata={"description": "Type of the instrument"})


class SetupFaultRequestSchema(StrictSchema):
    """What was faulty and when; more comparisons give the effect on other types of instrument."""

    item = Text(required=True, max_length=200)
    last_good_at = MomentText(required=True, allow_none=True)
    discovered_at = MomentText(allow_none=True)
    isolated_at = MomentText(required=True, allow_none=True)
    other_types = OtherTypes(
        allow_none=True,
        metadata={"description": 'Effect on all other types, or "indeterminate" (as if left out)'},
    )
    comparisons = fields.List(
        WholeNumber(minimum=1),
        load_default=list,
        validate=validate.Length(max=50),
        metadata={"description": "Ids of comparisons on instruments of other types"},
    )
    faulty_setup = fields.String(
        validate=validate.OneOf(SETUPS),
        metadata={"description": "Needed where neither set-up, or both, name the item as a part"},
    )
    insignificant = fields.String(
        load_default="refuse",
        validate=validate.OneOf(INSIGNIFICANT),
        metadata={"description": "What to make of a difference that is not significant"},
    )
    meaning = Text(lines=True)


class SetupDifferenceTestSchema(Schema):
    """A mean difference against its scatter; null with a reason where there is none."""

    method = fields.String(required=True, metadata={"description": "paired_t or welch_t"})
    values = fields.Integer(required=True)
    standard_uncertainty = fields.String(required=True, allow_none=True)
    dof = fields.String(required=True, allow_none=True)
    t = fields.String(required=True, allow_none=True)
    p_value = fields.Float(required=True, allow_none=True)
    interval = fields.Dict(required=True, allow_none=True)
    significant = fields.Boolean(required=True, allow_none=True)
    reason = fields.String()


class SetupDifferenceSchema(SetupDifferenceTestSchema):
    """The difference at one point: the other set-up less the usual one."""

    applied = fields.String(required=True)
    usual_mean = fields.String(required=True)
    other_mean = fields.String(required=True)
    difference = fields.String(required=True)
    difference_rel = fields.String(required=True)
    E_n = fields.Dict(metadata={"description": "{value, exceeds, reason?}, judged at 1"})
    component = fields.Dict(
        required=True, metadata={"description": "For a budget where either set-up may be used"}
    )


class SetupDifferenceOverallSchema(Schema):
    """What all points say together; relative figures are shares of the applied force."""

    mean_rel = fields.String(required=True)
    weighting = fields.String(required=True)
    largest = fields.Dict(required=True)
    half_range_rel = fields.String(required=True)
    over_runs = fields.Nested(SetupDifferenceTestSchema, required=True, allow_none=True)
    over_points = fields.Nested(SetupDifferenceTestSchema, required=True)
    basis = fields.String(required=True, allow_none=True)
    significant = fields.Boolean(required=True, allow_none=True)
    component = fields.Dict(required=True)


class SetupEffectSchema(Schema):
    """The effect that a recall would use for instruments of this type."""

    instrument_type = fields.String(required=True)
    effect_rel = fields.String(required=True)
    U_delta_rel = fields.String(required=True, allow_none=True)
    U_delta_k = fields.String(required=True)
    U_reported = fields.String(required=True, allow_none=True)
    contributions = fields.List(fields.Dict(), required=True)
    reason = fields.String()


class SetupComparisonSchema(Schema):
    """A comparison as it is answered."""

    id = fields.Integer(required=True, allow_none=True)
    recorded_at = fields.String()
    instrument = fields.Dict(required=True)
    unit = fields.String(required=True)
    setups = fields.Dict(required=True)
    differ_in = fields.List(fields.String(), required=True)
    performed_at = fields.String(required=True)
    person = fields.String(required=True)
    sentence = fields.String(required=True)
    confidence = fields.String(required=True)
    points = fields.List(fields.Nested(SetupDifferenceSchema), required=True)
    overall = fields.Nested(SetupDifferenceOverallSchema, required=True)
    effect = fields.Nested(SetupEffectSchema, required=True)
    cautions = fields.List(fields.String(), required=True)
    engine_version = fields.String(required=True)
    request = fields.Dict(metadata={"description": "As it was understood; only in a single answer"})


class SetupComparisonEntrySchema(Schema):
    """A comparison in a list."""

    id = fields.Integer(required=True)
    recorded_at = fields.String(required=True)
    instrument = fields.Dict(required=True)
    differ_in = fields.List(fields.String(), required=True)
    performed_at = fields.String(required=True)
    sentence = fields.String(required=True)
    effect_rel = fields.String(required=True)
    U_delta_rel = fields.String(required=True, allow_none=True)
    significant = fields.Boolean(required=True, allow_none=True)


class SetupFaultSchema(Schema):
    """A fault as POST /v1/recalls takes it; its note says how it was derived."""

    fault = fields.Dict(required=True)
