"""One result to be decided: its numbers, its limits, its rule."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import fields, validates_schema

from api.schemas.agreements import ReferenceField
from api.schemas.base import StrictSchema
from api.schemas.decision_parts import (
    BudgetField,
    DensityField,
    DriftSchema,
    LimitsSchema,
    PriorSchema,
    QuantityField,
    at,
    from_one,
    not_negative,
    positive,
)
from api.schemas.decision_rules import RuleField
from api.schemas.fields import DecimalText, Text
from api.schemas.specifications import ToleranceField
from api.schemas.usual_decisions import usual_request


class NewDecisionSchema(StrictSchema):
    """A result, its limits and the rule; U in the unit of the value or another, or relative."""

    value = DecimalText(required=True)
    U = QuantityField(validate=not_negative, metadata={"description": "Expanded uncertainty"})
    U_rel_pct = DecimalText(
        validate=not_negative, metadata={"description": "U in percent of the value"}
    )
    budget = BudgetField(
        metadata={"description": "Id of an uncertainty budget, or {id, point}; gives U, k and dof"}
    )
    k = DecimalText(
        validate=positive,
        metadata={"description": "Coverage factor of U; default 2"},
    )
    dof = DecimalText(validate=from_one)
    density = DensityField(
        metadata={
            "description": (
                "How the result is distributed: normal (the default), rectangular, trapezoid, or "
                "an object with a rest; of a budget its own unless normal is sent"
            )
        }
    )
    unit = Text(required=True, max_length=20)
    limits = fields.Nested(LimitsSchema)
    nominal = QuantityField(metadata={"description": "Centre of the tolerance; 0 for an error"})
    tolerance = ToleranceField(
        by_id=True,
        metadata={
            "description": (
                "A number, {lower, upper}, {terms, combine}, the id of a specification or "
                "{specification, version}. With a specification and no nominal the value is an "
                "error of indication"
            )
        },
    )
    reading = QuantityField(metadata={"description": "For percent of reading; default: the value"})
    full_scale = QuantityField(metadata={"description": "For percent of full scale"})
    resolution = QuantityField(metadata={"description": "For digits of resolution"})
    rule = RuleField(
        metadata={"description": "Id, {id, version}, or an object with guard and zones"},
    )
    agreement = ReferenceField(
        metadata={
            "description": (
                "In the place of rule: id of an agreement with a customer, or {id, version}; gives "
                "the rule, and where neither limits nor tolerance is sent the specification"
            )
        }
    )
    drift = fields.Nested(
        DriftSchema, metadata={"description": "Asks for the decision at the end of the interval"}
    )
    prior = fields.Nested(PriorSchema, metadata={"description": "Asks for the global risks"})
    results = Text(metadata={"description": "Words for the statement: the results covered"})
    specification = Text(metadata={"description": "Words for the statement: the requirement"})
    store = fields.Boolean(load_default=True, truthy={True}, falsy={False})

    def load(self, data: Any, **options: Any) -> Any:
        """Load a request; the usual one without the general machinery, to the same result."""
        found = usual_request(data) if options.get("partial") is None else None
        return super().load(data, **options) if found is None else found

    @validates_schema
    def _one_uncertainty(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "U" in data and "U_rel_pct" in data:
            raise at("U_rel_pct", "a second uncertainty", "send U or U_rel_pct, not both")
        if "budget" in data:
            for name in ("U", "U_rel_pct", "k", "dof"):
                if name in data:
                    remedy = "send a budget, or U with its k and dof"
                    raise at(name, "a second uncertainty beside the budget", remedy)
        elif "U" not in data and "U_rel_pct" not in data:
            raise at("U", "required field is missing", "send U, U_rel_pct or budget")

    @validates_schema
    def _one_density(self, data: dict[str, Any], **kwargs: Any) -> None:
        if not data.get("density"):
            return
        if "budget" in data:
            remedy = "leave it out (the budget has its own), or send normal"
            raise at("density", "a second density beside the budget", remedy)
        if "dof" in data:
            remedy = "leave dof out, or send rest_dof in the density"
            raise at("dof", "a density beside degrees of freedom", remedy)
        if "k" not in data:
            remedy = "send the coverage factor of U, such as 1.73 where U is the half-width"
            raise at("k", "required field is missing: a density has no usual k", remedy)

    @validates_schema
    def _one_rule(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "rule" in data and "agreement" in data:
            raise at("agreement", "a rule is given too", "send rule or agreement, not both")
        if "rule" not in data and "agreement" not in data:
            raise at("rule", "required field is missing", "send rule or agreement")

    @validates_schema
    def _one_requirement(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "limits" in data:
            for name in ("tolerance", "nominal"):
                if name in data:
                    remedy = "send limits, or nominal and tolerance, not both"
                    raise at(name, "a second requirement beside limits", remedy)
        elif "tolerance" not in data and "agreement" in data:
            if "nominal" in data:
                raise at("nominal", "no tolerance around it", "send both, or leave it out")
        elif "tolerance" not in data:
            remedy = "send limits, or nominal and tolerance"
            raise at("limits", "required field is missing", remedy)
        elif "nominal" not in data and not _by_id(data["tolerance"]):
            remedy = "send the nominal value; 0 where value is an error of indication"
            raise at("nominal", "required field is missing", remedy)


def _by_id(tolerance: Any) -> bool:
    return isinstance(tolerance, Mapping) and "specification" in tolerance
