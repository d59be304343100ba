"""Parts of a request for a decision: quantities, limits, prior, density, drift, budget."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.rules.density import KINDS, NORMAL, TRAPEZOID
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, Text, decimal_of, refuse


def _of(number: Any) -> Decimal:
    """Return the number of a quantity, which may have its own unit."""
    found: Decimal = number["value"] if isinstance(number, Mapping) else number
    return found


def not_negative(number: Any) -> None:
    """Refuse a negative number."""
    if _of(number) < 0:
        raise refuse("a negative number", "send its magnitude")


def positive(number: Decimal) -> None:
    """Refuse a coverage factor that is not above 0."""
    if number <= 0:
        raise refuse("not greater than 0", "leave it out for the usual 2, or correct it")


def _more_than_nothing(number: Decimal) -> None:
    if number <= 0:
        raise refuse("not greater than 0", "send the days until the end of the interval")


def from_one(number: Decimal) -> None:
    """Refuse degrees of freedom below 1."""
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
    sd = QuantityField(validate=not_negative)
    reliability = DecimalText(
        validate=_a_rate,
        metadata={"description": "Observed in-tolerance rate, measurement error included"},
    )

    @validates_schema
    def _one_spread(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "reliability" in data:
            if "sd" in data:
                raise at("sd", "a second spread", "send sd or reliability, not both")
            return
        for name in ("mean", "sd"):
            if name not in data:
                raise at(name, "required field is missing", "send mean and sd, or reliability")


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
        validate=not_negative,
        metadata={"description": "u of the rest over u of the rectangle or trapezoid; default 0"},
    )
    rest_dof = DecimalText(
        validate=from_one,
        metadata={"description": "Degrees of freedom of the rest; default: normal"},
    )

    @validates_schema
    def _of_its_kind(self, data: dict[str, Any], **kwargs: Any) -> None:
        kind = data.get("kind")
        if kind == TRAPEZOID and "beta" not in data:
            raise at("beta", "required field is missing", "send the top over the base")
        if kind != TRAPEZOID and "beta" in data:
            raise at("beta", f"a {kind} density has none", "leave it out, or send a trapezoid")
        if kind == NORMAL and len(data) > 1:
            raise at("kind", "a normal density has no parts", "leave them out")


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


class DriftSchema(StrictSchema):
    """How far the value may move until the end of the interval, and how long that is."""

    days = DecimalText(
        required=True,
        validate=_more_than_nothing,
        metadata={"description": "From the calibration to the end of the interval"},
    )
    per_year = QuantityField(
        required=True,
        metadata={
            "description": (
                "Drift a year (365.25 days), in the unit of the value: of either direction, or a "
                "known one with its sign"
            )
        },
    )
    U_per_year = QuantityField(
        validate=not_negative,
        metadata={"description": "Expanded uncertainty (k = 2) of a known drift a year; default 0"},
    )
    known = fields.Boolean(
        truthy={True},
        falsy={False},
        metadata={"description": "Whether the direction is known; default false"},
    )


def at(name: str, detail: str, remedy: str) -> ValidationError:
    """Return a refusal of one field."""
    return ValidationError(refuse(detail, remedy).messages, name)
