"""A decision rule: how the guard band is found, how many zones, who prescribed it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema

from api.rules.guard import MOST_STEPS
from api.rules.reported import CONVENTIONS
from api.rules.rule import BASES, MOST_BRANCHES, too_deep
from api.schemas.base import StrictSchema
from api.schemas.fields import (
    DecimalText,
    MomentText,
    Text,
    WholeNumber,
    at_least,
    decimal_of,
    refuse,
)


class SignedPair(fields.Field[Decimal | dict[str, Decimal]]):
    """A number for both sides, or {"lower", "upper"} with either left out."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Decimal | dict[str, Decimal]:
        return pair_of(value) if isinstance(value, Mapping) else decimal_of(value)


def pair_of(value: Mapping[str, Any]) -> dict[str, Decimal]:
    """Numbers of {"lower", "upper"}, either of which may be absent or null."""
    found: dict[str, Decimal] = {}
    errors: dict[str, Any] = {}
    for side, number in value.items():
        if side not in ("lower", "upper"):
            errors[str(side)] = refuse("unknown field", "known here: lower, upper").messages
        elif number is not None:
            try:
                found[side] = decimal_of(number)
            except ValidationError as error:
                errors[side] = error.messages
    if errors:
        raise ValidationError(errors)
    if not found:
        raise refuse("neither lower nor upper", "give one of them or both")
    return found


class GuardStepSchema(StrictSchema):
    """The guard band from one test uncertainty ratio up to that of the next step."""

    from_tur = DecimalText(
        required=True,
        validate=at_least(0),
        metadata={"description": "TUR = (upper - lower) / (2 U at 95 %); 0 in the first step"},
    )
    factor = DecimalText(metadata={"description": "r in w = r U"})
    share = DecimalText(metadata={"description": "w over half the interval; factor or share"})

    @validates_schema
    def _one(self, data: dict[str, Any], **kwargs: Any) -> None:
        if ("factor" in data) == ("share" in data):
            raise refuse("not one guard band", "send one of factor and share")


class GuardSchema(StrictSchema):
    """How the guard band w is found: a basis and the one parameter it takes."""

    basis = fields.String(required=True, validate=validate.OneOf(BASES))
    factor = DecimalText(metadata={"description": "Basis U: r in w = r U; negative relaxes"})
    width = SignedPair(
        metadata={"description": "Basis absolute: w in the unit of the limits, or for each side"}
    )
    share = DecimalText(metadata={"description": "Basis tolerance: w over half the interval"})
    target = DecimalText(
        metadata={"description": "Bases specific_risk and global_risk: a probability"}
    )
    steps = fields.List(
        fields.Nested(GuardStepSchema),
        validate=validate.Length(1, MOST_STEPS),
        metadata={"description": "Basis tur_table: guard bands by TUR, from 0 upwards"},
    )


class RatioText(fields.Field[Any]):
    """A decimal number, or a quotient of whole numbers such as "1/3"."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        return value if isinstance(value, str) and "/" in value else decimal_of(value)


class PreconditionSchema(StrictSchema):
    """What must hold for the rule to decide: one of two ratios, equality included."""

    least_tur = RatioText(
        metadata={
            "description": (
                "Least TUR = (upper - lower) / (2 U at 95 %), such as 4; needs both limits"
            )
        }
    )
    greatest_U_over_T = RatioText(
        metadata={
            "description": (
                "Greatest U/T, such as 1/3: U as stated with its k, T = (upper - lower) / 2; needs "
                "both limits"
            )
        }
    )

    @validates_schema
    def _one(self, data: dict[str, Any], **kwargs: Any) -> None:
        if len(data) != 1:
            detail = "two ratios" if data else "no ratio"
            raise refuse(detail, "send one of least_tur and greatest_U_over_T")


class OtherwiseField(fields.Field[Any]):
    """What decides where the precondition does not hold: a rule, or "no_statement"."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        # Read here and not by a nested schema, which would have to know itself.
        if too_deep(value):
            raise refuse(f"more than {MOST_BRANCHES} rules follow each other", "leave some out")
        return value if isinstance(value, str) else read_rule(value)


class RuleObjectSchema(StrictSchema):
    """A rule given with a request, recorded nowhere."""

    guard = fields.Nested(GuardSchema, required=True)
    zones = WholeNumber(validate=validate.OneOf((2, 4)), metadata={"description": "2 or 4"})
    precondition = fields.Nested(
        PreconditionSchema,
        metadata={"description": "What must hold for guard and zones to decide"},
    )
    otherwise = OtherwiseField(
        metadata={
            "description": (
                "What decides where the precondition does not hold: the id of a rule, {id, "
                "version}, a rule object with a guard and, if it likes, a precondition and an "
                "otherwise of its own, or no_statement, which is the default"
            )
        }
    )
    decides_on = fields.String(
        validate=validate.OneOf(CONVENTIONS),
        metadata={
            "description": (
                "unrounded (the default), or reported: U is rounded up to two digits and the value "
                "to the same place before anything is decided; holds for the fallbacks too"
            )
        },
    )
    title = Text()
    prescribed_by = Text(metadata={"description": "Regulation, standard or customer"})
    agreed_with = Text()
    agreed_at = MomentText()
    source = Text()
    edition = Text()
    note = Text(lines=True)


class NewRuleSchema(RuleObjectSchema):
    """A rule to be recorded; its version is counted by the server."""

    id = Text(required=True, max_length=200)


class RuleReferenceSchema(StrictSchema):
    """A recorded rule in a given version."""

    id = Text(required=True, max_length=200)
    version = WholeNumber(minimum=1)


# Made once: a schema costs more to make than to use.
_OBJECT, _REFERENCE, _ID = RuleObjectSchema(), RuleReferenceSchema(), Text(max_length=200)


class RuleField(fields.Field[Any]):
    """The id of a rule, {"id", "version"}, or a rule object with a guard."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        return read_rule(value)


def read_rule(value: Any) -> dict[str, Any]:
    """Load the id of a rule, {"id", "version"} or a rule object; raise ValidationError."""
    if isinstance(value, Mapping):
        loaded: dict[str, Any] = (_OBJECT if "guard" in value else _REFERENCE).load(value)
        return loaded
    if not isinstance(value, str):
        raise refuse("not a rule", 'send the id of a rule, or an object with "guard"')
    return {"id": _ID.deserialize(value)}


class VersionQuerySchema(StrictSchema):
    """Which version of a record."""

    version = fields.Integer(
        validate=validate.Range(1, 2**31 - 1), metadata={"description": "Default: the latest"}
    )


class RiskQuerySchema(VersionQuerySchema):
    """Limits and prior for the picture of a rule's risks."""

    lower = DecimalText(metadata={"description": "Lower tolerance limit; default -1"})
    upper = DecimalText(metadata={"description": "Upper tolerance limit; default 1"})
    prior_mean = DecimalText(metadata={"description": "Mean of the items; default the middle"})
    prior_sd = DecimalText(
        validate=at_least(0), metadata={"description": "Asks for the global risks"}
    )
    reliability = DecimalText(
        metadata={"description": "Observed in-tolerance rate, in place of prior_sd"}
    )

    @validates_schema
    def _one_spread(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "reliability" in data and "prior_sd" in data:
            detail = refuse("a second spread", "send prior_sd or reliability, not both")
            raise ValidationError(detail.messages, "prior_sd")


class RuleExampleSchema(Schema):
    """The same small example for every rule, to compare them by."""

    limits = fields.Dict(required=True)
    U = fields.String(required=True)
    k = fields.String(required=True)
    prior = fields.Dict(metadata={"description": "Only for rules that need one"})
    acceptance = fields.Dict(required=True)
    guard_band = fields.Raw(required=True)
    branch = fields.Dict(
        metadata={"description": "Of a rule with a precondition: which branch decides, and why"}
    )
    worst_specific_risk = fields.Float(
        required=True,
        allow_none=True,
        metadata={"description": "Of a result on an acceptance limit; null if none is accepted"},
    )


class RuleAnswerSchema(Schema):
    """A rule as it is answered."""

    id = fields.String(required=True)
    version = fields.Integer(required=True)
    guard = fields.Dict(required=True)
    zones = fields.Integer(required=True)
    decides_on = fields.String(
        metadata={"description": "Only of a rule that decides on reported, rounded numbers"}
    )
    precondition = fields.Dict(
        metadata={"description": "Only of a rule that has one: least_tur or greatest_U_over_T"}
    )
    otherwise = fields.Raw(
        metadata={
            "description": (
                "Only with a precondition: no_statement, or the rule that decides where it does "
                "not hold, one that was recorded with its id and version"
            )
        }
    )
    title = fields.String()
    prescribed_by = fields.String()
    agreed_with = fields.String()
    agreed_at = fields.String()
    source = fields.String()
    edition = fields.String()
    note = fields.String()
    built_in = fields.Boolean(required=True)
    versions = fields.List(fields.Integer(), metadata={"description": "Only in a single answer"})
    explanation = fields.String(required=True)
    example = fields.Nested(RuleExampleSchema, required=True)
