"""One result to be decided, and the decision."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema

from api.rules.decide import VERDICTS
from api.schemas.base import StrictSchema
from api.schemas.decision_rules import RuleField
from api.schemas.fields import DecimalText, Text, decimal_of, refuse
from api.schemas.specifications import ToleranceField


def _not_negative(number: Decimal) -> None:
    if number < 0:
        raise refuse("a negative number", "send its magnitude")


def _positive(number: Decimal) -> None:
    if number <= 0:
        raise refuse("not greater than 0", "leave it out for the usual 2, or correct it")


def _from_one(number: Decimal) -> None:
    if number < 1:
        raise refuse("fewer than 1 degree of freedom", "leave it out where it is infinite")


class LimitField(fields.Field[Any]):
    """A number in the unit of the value, or {"value", "unit"}; both load as the latter."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        if isinstance(value, Mapping):
            return QuantitySchema().load(value)
        return {"value": decimal_of(value)}


class QuantitySchema(StrictSchema):
    """A number with its own unit."""

    value = DecimalText(required=True)
    unit = Text(required=True, max_length=20)


class LimitsSchema(StrictSchema):
    """Tolerance limits; one of them may be absent."""

    lower = LimitField(allow_none=True)
    upper = LimitField(allow_none=True)

    @validates_schema
    def _one_at_least(self, data: dict[str, Any], **kwargs: Any) -> None:
        if data.get("lower") is None and data.get("upper") is None:
            raise refuse("neither lower nor upper", "give one of them or both")


class PriorSchema(StrictSchema):
    """What is known of such items beforehand: normal, in the unit of the value."""

    mean = DecimalText(required=True)
    sd = DecimalText(required=True, validate=_not_negative)


class NewDecisionSchema(StrictSchema):
    """A result, its limits and the rule; U in the unit of the value, or relative."""

    value = DecimalText(required=True)
    U = DecimalText(validate=_not_negative, metadata={"description": "Expanded uncertainty"})
    U_rel_pct = DecimalText(
        validate=_not_negative, metadata={"description": "U in percent of the value"}
    )
    k = DecimalText(
        validate=_positive,
        metadata={"description": "Coverage factor of U; default 2"},
    )
    dof = DecimalText(validate=_from_one)
    unit = Text(required=True, max_length=20)
    limits = fields.Nested(LimitsSchema)
    nominal = DecimalText(metadata={"description": "Centre of the tolerance; 0 for an error"})
    tolerance = ToleranceField(
        by_id=True,
        metadata={
            "description": (
                "A number, {lower, upper}, {terms, combine} or the id of a specification. With a "
                "specification and no nominal the value is an error of indication"
            )
        },
    )
    reading = DecimalText(metadata={"description": "For percent of reading; default: the value"})
    full_scale = DecimalText(metadata={"description": "For percent of full scale"})
    resolution = DecimalText(metadata={"description": "For digits of resolution"})
    rule = RuleField(
        required=True,
        metadata={"description": "Id, {id, version}, or an object with guard and zones"},
    )
    prior = fields.Nested(PriorSchema, metadata={"description": "Asks for the global risks"})
    results = Text(metadata={"description": "Words for the statement: the results covered"})
    specification = Text(metadata={"description": "Words for the statement: the requirement"})
    store = fields.Boolean(load_default=True, truthy={True}, falsy={False})

    @validates_schema
    def _one_uncertainty(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "U" in data and "U_rel_pct" in data:
            raise _at("U_rel_pct", "a second uncertainty", "send U or U_rel_pct, not both")
        if "U" not in data and "U_rel_pct" not in data:
            raise _at("U", "required field is missing", "send U, or U_rel_pct in percent of value")

    @validates_schema
    def _one_requirement(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "limits" in data:
            for name in ("tolerance", "nominal"):
                if name in data:
                    remedy = "send limits, or nominal and tolerance, not both"
                    raise _at(name, "a second requirement beside limits", remedy)
        elif "tolerance" not in data:
            remedy = "send limits, or nominal and tolerance"
            raise _at("limits", "required field is missing", remedy)
        elif "nominal" not in data and not _by_id(data["tolerance"]):
            remedy = "send the nominal value; 0 where value is an error of indication"
            raise _at("nominal", "required field is missing", remedy)


def _at(name: str, detail: str, remedy: str) -> ValidationError:
    return ValidationError(refuse(detail, remedy).messages, name)


def _by_id(tolerance: Any) -> bool:
    return isinstance(tolerance, Mapping) and "specification" in tolerance


class SpecificRiskSchema(Schema):
    """What the decision would cost for this result."""

    consumer = fields.Float(
        required=True, metadata={"description": "Probability of not conforming"}
    )
    producer = fields.Float(required=True, metadata={"description": "Probability of conforming"})


class GlobalRiskSchema(Schema):
    """Joint risks for the stated prior; null where nothing is accepted."""

    consumer = fields.Float(required=True, allow_none=True)
    producer = fields.Float(required=True, allow_none=True)
    consumer_given_accepted = fields.Float(required=True, allow_none=True)
    accepted = fields.Float(required=True, allow_none=True)


class PosteriorSchema(Schema):
    """What is known of the item after the result; risk is that of not conforming."""

    mean = fields.Float(required=True)
    sd = fields.Float(required=True)
    risk = fields.Float(required=True)


class LimitsAnswerSchema(Schema):
    """Two limits; null where there is none."""

    lower = fields.String(required=True, allow_none=True, metadata={"format": "decimal"})
    upper = fields.String(required=True, allow_none=True, metadata={"format": "decimal"})


class AcceptanceAnswerSchema(LimitsAnswerSchema):
    """Acceptance limits; empty and reason only where no result can pass."""

    empty = fields.Boolean()
    reason = fields.String()


class ReportedSchema(Schema):
    """As a certificate prints it: U rounded up to two digits, the value to the same place."""

    value = fields.String(required=True)
    U = fields.String(required=True)


class DecisionSchema(Schema):
    """A decision, the verdict first; it was made on unrounded numbers."""

    id = fields.Integer(
        required=True, allow_none=True, metadata={"description": "Null if it was not stored"}
    )
    verdict = fields.String(required=True, validate=validate.OneOf(VERDICTS))
    limits = fields.Nested(LimitsAnswerSchema, required=True)
    acceptance = fields.Nested(AcceptanceAnswerSchema, required=True)
    guard_band = fields.Raw(
        required=True,
        metadata={"description": "w in the unit of the value; {lower, upper} where they differ"},
    )
    conformance_probability = fields.Float(required=True)
    specific_risk = fields.Nested(SpecificRiskSchema, required=True)
    global_risk = fields.Nested(GlobalRiskSchema)
    posterior = fields.Nested(PosteriorSchema)
    tur = fields.String(
        required=True,
        allow_none=True,
        metadata={"description": "(upper - lower) / (2 U at 95 %); null where it does not exist"},
    )
    statement = fields.String(required=True, metadata={"description": "For the certificate"})
    value = fields.String(required=True)
    U = fields.String(required=True)
    k = fields.String(required=True)
    dof = fields.String()
    unit = fields.String(required=True)
    reported = fields.Nested(ReportedSchema, required=True)
    rule = fields.Dict(
        required=True, metadata={"description": "{id, version}, or the object that was sent"}
    )
    engine_version = fields.String(required=True)


class StoredDecisionSchema(DecisionSchema):
    """A stored decision with the request that it answers."""

    recorded_at = fields.String(required=True, metadata={"format": "date-time"})
    request = fields.Dict(required=True)


class DecisionEntrySchema(Schema):
    """A stored decision in a list."""

    id = fields.Integer(required=True)
    recorded_at = fields.String(required=True, metadata={"format": "date-time"})
    verdict = fields.String(required=True)
    value = fields.String(required=True)
    U = fields.String(required=True)
    unit = fields.String(required=True)
    rule = fields.Dict(required=True)
