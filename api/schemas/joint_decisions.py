"""Several results to be decided together, and what they come to."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema

from api.rules.decide import VERDICTS
from api.schemas.agreements import ReferenceField
from api.schemas.base import StrictSchema
from api.schemas.decision_answers import DecisionSchema
from api.schemas.decision_parts import QuantityField
from api.schemas.decision_rules import RuleField
from api.schemas.decisions import NewDecisionSchema
from api.schemas.fields import DecimalText, Text, at_least, refuse

_MOST = 200


def _a_correlation(number: Decimal) -> None:
    if not -1 <= number <= 1:
        raise refuse("not between -1 and 1", "send a coefficient of correlation, such as 0.6")


class JointResultSchema(NewDecisionSchema):
    """One of several results: as for a decision, without what is said once for all."""

    class Meta:
        """None of several results is stored."""

        exclude = ("store",)

    unit = Text(max_length=20, metadata={"description": "Default: the unit of all results"})
    common_U = QuantityField(
        validate=lambda number: at_least(0)(
            number["value"] if isinstance(number, dict) else number
        ),
        metadata={
            "description": (
                "The part of U, with the same k, that is common to the results, such as that of "
                "the reference; independent of the others unless given"
            )
        },
    )

    def load(self, data: Any, **options: Any) -> Any:
        """Load a result; it has not the usual form of a request."""
        return StrictSchema.load(self, data, **options)

    @validates_schema
    def _one_rule(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "rule" in data and "agreement" in data:
            detail = refuse("a rule is given too", "send rule or agreement, not both")
            raise ValidationError(detail.messages, "agreement")


class NewJointDecisionSchema(StrictSchema):
    """Results of one certificate, the rule that they have in common, and how they hang together."""

    results = fields.List(
        fields.Nested(JointResultSchema), required=True, validate=validate.Length(2, _MOST)
    )
    unit = Text(max_length=20, metadata={"description": "Of results that give none"})
    rule = RuleField(metadata={"description": "Of results that give none"})
    agreement = ReferenceField(metadata={"description": "In the place of rule"})
    correlation = DecimalText(
        validate=_a_correlation,
        metadata={
            "description": (
                "Of any two results, from 0 to 1, negative for two results only; default: "
                "independent"
            )
        },
    )

    @validates_schema
    def _said_of_each(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "rule" in data and "agreement" in data:
            raise _at("agreement", "a rule is given too", "send rule or agreement, not both")
        errors: dict[int, Any] = {}
        for i, one in enumerate(data["results"]):
            if "unit" not in data and "unit" not in one:
                remedy = "send the unit of the result, or one for all"
                errors.setdefault(i, {})["unit"] = refuse("no unit", remedy).messages
            if not {"rule", "agreement"} & (data.keys() | one.keys()):
                remedy = "send a rule or an agreement for the result, or one for all"
                errors.setdefault(i, {})["rule"] = refuse("no rule", remedy).messages
        if errors:
            raise ValidationError({"results": errors})

    @validates_schema
    def _one_dependence(self, data: dict[str, Any], **kwargs: Any) -> None:
        r = data.get("correlation")
        if r is None:
            return
        if r < 0 and len(data["results"]) > 2:
            remedy = "send 0 or more, or two results only"
            raise _at("correlation", "more than two results cannot all oppose each other", remedy)
        if any("common_U" in one for one in data["results"]):
            remedy = "send correlation, or common_U of the results, not both"
            raise _at("correlation", "a second dependence beside common_U", remedy)


def _at(name: str, detail: str, remedy: str) -> ValidationError:
    return ValidationError(refuse(detail, remedy).messages, name)


class TotalGlobalRiskSchema(Schema):
    """Of independent results that all have a prior."""

    consumer = fields.Float(
        required=True,
        metadata={"description": "P(all are accepted and at least one does not conform)"},
    )
    accepted = fields.Float(required=True, metadata={"description": "P(all are accepted)"})


class JointRiskSchema(Schema):
    """The risk of all results together."""

    consumer = fields.Float(
        required=True, metadata={"description": "Probability that at least one does not conform"}
    )
    all_conform = fields.Float(required=True)
    dependence = fields.String(required=True)
    global_risk = fields.Nested(TotalGlobalRiskSchema)


class JointlyDecidedSchema(DecisionSchema):
    """The decision of one of several results."""

    class Meta:
        """It is not stored."""

        exclude = ("id",)


class JointDecisionSchema(Schema):
    """Several results decided together; nothing of it is stored."""

    verdict = fields.String(
        required=True,
        validate=validate.OneOf(VERDICTS),
        metadata={"description": "The worst of all"},
    )
    joint_risk = fields.Nested(JointRiskSchema, required=True)
    statement = fields.String(required=True)
    results = fields.List(fields.Nested(JointlyDecidedSchema), required=True)
    engine_version = fields.String(required=True)
