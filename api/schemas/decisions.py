"""One result to be decided: its numbers, its limits, its rule."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.rules.density import KINDS, NORMAL, TRAPEZOID
from api.schemas.agreements import ReferenceField
from api.schemas.base import StrictSchema
from api.schemas.decision_rules import RuleField
from api.schemas.fields import DecimalText, Text, decimal_of, refuse
from api.schemas.specifications import ToleranceField
from api.schemas.usual_decisions import usual_request


def _of(number: Any) -> Decimal:
    """Return the number of a quantity, which may have its own unit."""
    found: Decimal = number["value"] if isinstance(number, Mapping) else number
    return found


def _not_negative(number: Any) -> None:
    if _of(number) < 0:
        raise refuse("a negative number", "send its magnitude")


def _positive(number: Decimal) -> None:
    if number <= 0:
        raise refuse("not greater than 0", "leave it out for the usual 2, or correct it")


def _from_one(number: Decimal) -> None:
    if number < 1:
        raise refuse("fewer than 1 degree of freedom", "leave it out where it is infinite")


def _a_rate(number: Decimal) -> None:
    if not 0 < number < 1:
        raise refuse("not between 0 and 1", "send the share in tolerance, such as 0.95")


class QuantitySchema(StrictSchema):
    """A number with its own unit."""

    value = DecimalText(required=True)
    unit = Text(required=True, max_length=20)


# Made once: a schema costs more to make than to use.
_QUANTITY = QuantitySchema()


class QuantityField(fields.Field[Any]):
    """A number in the unit of the value, or {"value", "unit"}, which is kept as a mapping."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        return _QUANTITY.load(value) if isinstance(value, Mapping) else decimal_of(value)


class LimitField(QuantityField):
    """A number in the unit of the value, or {"value", "unit"}; both load as the latter."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        found = super()._deserialize(value, attr, data, **kwargs)
        return found if isinstance(found, Mapping) else {"value": found}


class LimitsSchema(StrictSchema):
    """Tolerance limits; one of them may be absent."""

    lower = LimitField(allow_none=True)
    upper = LimitField(allow_none=True)

    @validates_schema
    def _one_at_least(self, data: dict[str, Any], **kwargs: Any) -> None:
        if data.get("lower") is None and data.get("upper") is None:
            raise refuse("neither lower nor upper", "give one of them or both")


class PriorSchema(StrictSchema):
    """What is known of such items beforehand: normal, in the unit of the value.

    Either mean and sd, or the rate at which such results were observed inside these limits with
    this U; the mean then is the middle of the limits unless it is given.
    """

    mean = QuantityField()
    sd = QuantityField(validate=_not_negative)
    reliability = DecimalText(
        validate=_a_rate,
        metadata={"description": "Observed in-tolerance rate, measurement error included"},
    )

    @validates_schema
    def _one_spread(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "reliability" in data:
            if "sd" in data:
                raise _at("sd", "a second spread", "send sd or reliability, not both")
            return
        for name in ("mean", "sd"):
            if name not in data:
                raise _at(name, "required field is missing", "send mean and sd, or reliability")


class BudgetReferenceSchema(StrictSchema):
    """A recorded uncertainty budget, and which of its points."""

    id = Text(required=True, max_length=200)
    point = DecimalText(metadata={"description": "Value of the point; needed of several"})


_BUDGET, _ID = BudgetReferenceSchema(), Text(max_length=200)


class BudgetField(fields.Field[Any]):
    """The id of a budget or {"id", "point"}; loads as the latter."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        return _BUDGET.load(value) if isinstance(value, Mapping) else {"id": _ID.deserialize(value)}


class DensitySchema(StrictSchema):
    """A rectangle or a trapezoid, alone or convolved with the rest of the budget."""

    kind = fields.String(required=True, validate=validate.OneOf(KINDS))
    beta = DecimalText(metadata={"description": "Top over base of a trapezoid, 0 to 1"})
    rest_over_dominant = DecimalText(
        validate=_not_negative,
        metadata={"description": "u of the rest over u of the rectangle or trapezoid; default 0"},
    )
    rest_dof = DecimalText(
        validate=_from_one,
        metadata={"description": "Degrees of freedom of the rest; default: normal"},
    )

    @validates_schema
    def _of_its_kind(self, data: dict[str, Any], **kwargs: Any) -> None:
        kind = data.get("kind")
        if kind == TRAPEZOID and "beta" not in data:
            raise _at("beta", "required field is missing", "send the top over the base")
        if kind != TRAPEZOID and "beta" in data:
            raise _at("beta", f"a {kind} density has none", "leave it out, or send a trapezoid")
        if kind == NORMAL and len(data) > 1:
            raise _at("kind", "a normal density has no parts", "leave them out")


_DENSITY = DensitySchema()


class DensityField(fields.Field[Any]):
    """A kind of density, or an object; loads as the shape, empty for the normal distribution."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        sent = value if isinstance(value, Mapping) else {"kind": _ID.deserialize(value)}
        loaded = _DENSITY.load(sent)
        kind = loaded.pop("kind")
        return {} if kind == NORMAL else {"beta": Decimal(1), **loaded}


class NewDecisionSchema(StrictSchema):
    """A result, its limits and the rule; U in the unit of the value or another, or relative."""

    value = DecimalText(required=True)
    U = QuantityField(validate=_not_negative, metadata={"description": "Expanded uncertainty"})
    U_rel_pct = DecimalText(
        validate=_not_negative, metadata={"description": "U in percent of the value"}
    )
    budget = BudgetField(
        metadata={"description": "Id of an uncertainty budget, or {id, point}; gives U, k and dof"}
    )
    k = DecimalText(
        validate=_positive,
        metadata={"description": "Coverage factor of U; default 2"},
    )
    dof = DecimalText(validate=_from_one)
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
            raise _at("U_rel_pct", "a second uncertainty", "send U or U_rel_pct, not both")
        if "budget" in data:
            for name in ("U", "U_rel_pct", "k", "dof"):
                if name in data:
                    remedy = "send a budget, or U with its k and dof"
                    raise _at(name, "a second uncertainty beside the budget", remedy)
        elif "U" not in data and "U_rel_pct" not in data:
            raise _at("U", "required field is missing", "send U, U_rel_pct or budget")

    @validates_schema
    def _one_density(self, data: dict[str, Any], **kwargs: Any) -> None:
        if not data.get("density"):
            return
        if "budget" in data:
            remedy = "leave it out (the budget has its own), or send normal"
            raise _at("density", "a second density beside the budget", remedy)
        if "dof" in data:
            remedy = "leave dof out, or send rest_dof in the density"
            raise _at("dof", "a density beside degrees of freedom", remedy)
        if "k" not in data:
            remedy = "send the coverage factor of U, such as 1.73 where U is the half-width"
            raise _at("k", "required field is missing: a density has no usual k", remedy)

    @validates_schema
    def _one_rule(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "rule" in data and "agreement" in data:
            raise _at("agreement", "a rule is given too", "send rule or agreement, not both")
        if "rule" not in data and "agreement" not in data:
            raise _at("rule", "required field is missing", "send rule or agreement")

    @validates_schema
    def _one_requirement(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "limits" in data:
            for name in ("tolerance", "nominal"):
                if name in data:
                    remedy = "send limits, or nominal and tolerance, not both"
                    raise _at(name, "a second requirement beside limits", remedy)
        elif "tolerance" not in data and "agreement" in data:
            if "nominal" in data:
                raise _at("nominal", "no tolerance around it", "send both, or leave it out")
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
