"""What is wrong with an item, and the recall that is asked for.

Every kind of fault takes the times of its window and its own numbers; a number of another kind is
refused, since it would be silently without effect.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.rules.units import is_force
from api.schemas.base import AnnotatedSchema, StrictSchema
from api.schemas.curve_parts import GIVES, Coefficients, CurveRangeSchema
from api.schemas.fault_kinds import MAY, NEEDS, OWN, STATES_ITS_OWN_U, bounds_of
from api.schemas.fields import (
    DecimalText,
    MomentText,
    Text,
    WholeNumber,
    above,
    at_least,
    decimal_of,
    refuse,
)
from api.schemas.vocabulary import DIRECTIONS, MODES

ABOVE_MINUS_ONE = above(-1)  # a true force of zero or less is not a relative error of force
POSITIVE = above(0)


def _below_one(bound: Decimal) -> None:
    if not 0 <= bound < 1:
        raise refuse(f"{bound} is no bound of a relative error", "send 0 or more, below 1")


class SegmentSchema(StrictSchema):
    """Range of recorded applied force, lower bound exclusive, upper inclusive, and its delta."""

    above_kN = DecimalText(allow_none=True)
    up_to_kN = DecimalText(allow_none=True)
    delta_rel = DecimalText(required=True, validate=ABOVE_MINUS_ONE)

    @validates_schema
    def _bounds_in_order(self, data: dict[str, Any], **kwargs: Any) -> None:
        above, up_to = data.get("above_kN"), data.get("up_to_kN")
        if above is not None and up_to is not None and above >= up_to:
            error = refuse("the range is empty", "up_to_kN is larger than above_kN")
            raise ValidationError(error.messages, "up_to_kN")


class OnlySchema(StrictSchema):
    """To what the fault is limited where it was met directly; what is absent limits nothing."""

    mode = fields.String(validate=validate.OneOf(MODES))
    directions = fields.List(
        fields.String(validate=validate.OneOf(DIRECTIONS)), validate=validate.Length(min=1)
    )
    roles = fields.List(Text(), validate=validate.Length(min=1))

    @validates_schema
    def _something(self, data: dict[str, Any], **kwargs: Any) -> None:
        if not data:
            error = refuse("limits nothing", "name mode, directions or roles, or leave only out")
            raise ValidationError(error.messages)


class OtherTypes(fields.Field[Any]):
    """Either "indeterminate", or the effect on every type that is not named."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        return None if value == "indeterminate" else decimal_of(value)


class FaultSchema(AnnotatedSchema):
    """One fault: what is faulty, the kind, the window and the effect.

    Faulty is an item, a certificate whose values were wrong (`certificate`, `revision`, `issuer`),
    or a method as calibrations record it.
    """

    item = Text(max_length=200)
    certificate = Text(max_length=200)
    revision = WholeNumber()
    issuer = Text(max_length=200)
    method = Text()
    kind = fields.String(required=True, validate=validate.OneOf(tuple(NEEDS)))
    channel = Text()
    last_good_at = MomentText(allow_none=True)
    discovered_at = MomentText(allow_none=True)
    isolated_at = MomentText(allow_none=True)
    entered_at = MomentText(allow_none=True)
    fixed_at = MomentText(allow_none=True)
    segment_bounds = Text()
    U_delta_rel = DecimalText(validate=at_least(0))
    U_delta_k = DecimalText(validate=POSITIVE)
    delta_rel = DecimalText(validate=ABOVE_MINUS_ONE)
    segments = fields.List(fields.Nested(SegmentSchema), validate=validate.Length(min=1))
    indication_rel = DecimalText(validate=ABOVE_MINUS_ONE)
    factor_applied = DecimalText(validate=POSITIVE)
    factor_right = DecimalText(validate=POSITIVE)
    effect_rel = fields.Dict(keys=Text(), values=DecimalText())
    other_types = OtherTypes(allow_none=True)
    gain = DecimalText(validate=POSITIVE)
    formula = Text(lines=True)
    bound_rel = DecimalText(validate=_below_one)
    measured_at = MomentText()
    U_rel_recorded = DecimalText(validate=at_least(0))
    U_rel_right = DecimalText(validate=POSITIVE)
    k_recorded = DecimalText(validate=POSITIVE)
    k_right = DecimalText(validate=POSITIVE)
    delta_force = DecimalText()
    unit = Text()
    U_delta_force = DecimalText(validate=at_least(0))
    coefficients_recorded = Coefficients(
        metadata={
            "description": "Default, as for of, unit and range: those of the certificate that is "
            "named, or of the one in force in the whole window"
        }
    )
    coefficients_right = Coefficients()
    of = fields.String(validate=validate.OneOf(GIVES))
    range = fields.Nested(CurveRangeSchema)
    only_ = fields.Nested(OnlySchema, data_key="only", attribute="only")

    @validates_schema
    def _numbers_of_its_kind(self, data: dict[str, Any], **kwargs: Any) -> None:
        kind = data.get("kind", "")
        needed = NEEDS.get(kind, ())
        errors = {
            name: refuse(f"{kind} needs {name}", f"add {name}").messages
            for name in needed
            if data.get(name) is None
        }
        for name in sorted(OWN & data.keys() - {*needed, *MAY.get(kind, ())}):
            errors[name] = refuse(f"{kind} takes no {name}", "leave it out").messages
        for name in STATES_ITS_OWN_U.get(kind, ()):
            if name in data:
                remedy = "state its uncertainty in its own fields"
                errors[name] = refuse(f"{kind} takes no {name}", remedy).messages
        if kind == "true_force_relative_error" and ("delta_rel" in data) == ("segments" in data):
            errors["delta_rel"] = refuse(
                "one of delta_rel and segments is needed", "give the constant, or the segments"
            ).messages
        if errors:
            raise ValidationError(errors)

    @validates_schema
    def _grows(self, data: dict[str, Any], **kwargs: Any) -> None:
        added = added_variance(data)
        if data.get("kind") == "understated_uncertainty" and added is not None and added <= 0:
            error = refuse(
                "U_rel_right/k_right is not above U_rel_recorded/k_recorded",
                "an uncertainty that was not understated changes nothing: check both and their k",
            )
            raise ValidationError(error.messages, "U_rel_right")

    @validates_schema
    def _unit_of_force(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "unit" in data and not is_force(data["unit"]):
            error = refuse(f'"{data["unit"]}" is no unit of force', "write N, kN, lbf, kgf ...")
            raise ValidationError(error.messages, "unit")

    @validates_schema
    def _one_thing_is_faulty(self, data: dict[str, Any], **kwargs: Any) -> None:
        named = [name for name in ("item", "certificate", "method") if name in data]
        if len(named) != 1:
            error = refuse("one of item, certificate and method is needed", "name what is faulty")
            raise ValidationError(error.messages, named[1] if named else "item")
        for name in ("revision", "issuer"):
            if name in data and "certificate" not in data:
                error = refuse(f"{name} belongs to a certificate", "name the certificate too")
                raise ValidationError(error.messages, name)

    @validates_schema
    def _times_of_its_kind(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "item" not in data:
            return  # a certificate or a method version bounds itself
        errors = {
            name: refuse(
                f"{data.get('kind')} needs {name}", "give it, or null where nobody knows it"
            ).messages
            for name in bounds_of(data.get("kind", ""))
            if name not in data
        }
        if errors:
            raise ValidationError(errors)

    @validates_schema
    def _segments_apart(self, data: dict[str, Any], **kwargs: Any) -> None:
        segments = data.get("segments") or []
        for place, one in enumerate(segments):
            for other in segments[:place]:
                if _overlap(one, other):
                    error = refuse("overlaps an earlier segment", "let the ranges touch only")
                    raise ValidationError({place: error.messages}, "segments")


class RecallRequestSchema(StrictSchema):
    """The fault, or several at once, and how to answer."""

    fault = fields.Nested(FaultSchema)
    faults = fields.List(fields.Nested(FaultSchema), validate=validate.Length(min=1, max=20))
    preview = fields.Boolean(load_default=False, truthy={True}, falsy={False})
    previous = fields.Integer(strict=True)

    @validates_schema
    def _one_or_several(self, data: dict[str, Any], **kwargs: Any) -> None:
        if ("fault" in data) == ("faults" in data):
            error = refuse("one of fault and faults is needed", "send the fault as an object")
            raise ValidationError(error.messages, "fault")


class ComparisonRequestSchema(StrictSchema):
    """Two ways to see a fault: other windows, or other effects."""

    first = fields.Nested(FaultSchema, required=True)
    second = fields.Nested(FaultSchema, required=True)


def added_variance(fault: Mapping[str, Any]) -> Fraction | None:
    """By how much the right variance of an understated uncertainty exceeds the recorded one."""
    if not {"U_rel_recorded", "U_rel_right"} <= fault.keys():
        return None
    right, recorded = (
        Fraction(fault[f"U_rel_{name}"]) / Fraction(fault.get(f"k_{name}", 2))
        for name in ("right", "recorded")
    )
    return right**2 - recorded**2


def _overlap(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    def below(upper: Any, lower: Any) -> bool:
        return upper is not None and lower is not None and upper <= lower

    return not (
        below(one.get("up_to_kN"), other.get("above_kN"))
        or below(other.get("up_to_kN"), one.get("above_kN"))
    )
