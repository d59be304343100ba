"""An uncertainty budget: components, their correlations, the points, and the coverage."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.rules.uncertainty.components import READY
from api.rules.uncertainty.coverage import (
    DOMINANT,
    LEAST_PROBABILITY,
    MOST_PROBABILITY,
    STUDENT,
)
from api.rules.uncertainty.distributions import DISTRIBUTIONS, MOST_READINGS
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, Flag, Text, WholeNumber, above, refuse

MOST_COMPONENTS, MOST_CORRELATIONS, MOST_POINTS = 100, 500, 200


def _probable(percent: Any) -> None:
    if not LEAST_PROBABILITY <= percent <= MOST_PROBABILITY:
        span = f"{LEAST_PROBABILITY} to {MOST_PROBABILITY}"
        raise refuse(f"not a coverage probability in percent, {span}", 'send such as "95.45"')


class BudgetComponentSchema(StrictSchema):
    """One component: a figure, its distribution, and how it acts on the result."""

    name = Text(required=True, max_length=200)
    kind = fields.String(
        validate=validate.OneOf(tuple(READY)),
        metadata={"description": "A ready component; gives the distribution where none is sent"},
    )
    distribution = fields.String(validate=validate.OneOf(DISTRIBUTIONS))
    U = DecimalText(metadata={"description": "normal, student: expanded uncertainty, with k"})
    k = DecimalText(metadata={"description": "Coverage factor of U"})
    u = DecimalText(metadata={"description": "normal, student: standard uncertainty"})
    s = DecimalText(metadata={"description": "student: standard deviation of one reading, with n"})
    n = WholeNumber(minimum=1, metadata={"description": "student: readings in the mean"})
    half_width = DecimalText(
        metadata={"description": "rectangular, triangular, u_shaped, trapezoidal"}
    )
    beta = DecimalText(metadata={"description": "trapezoidal: top over base, 0 to 1"})
    digit = DecimalText(metadata={"description": "resolution: smallest step of the display"})
    readings = fields.List(DecimalText(), validate=validate.Length(2, MOST_READINGS))
    dof = DecimalText(metadata={"description": "Degrees of freedom; infinite where absent"})
    sensitivity = DecimalText(metadata={"description": "Partial derivative of the result; 1"})
    relative = Flag(metadata={"description": "The figure is in percent of `of`"})
    of = DecimalText(metadata={"description": "Default: the value of the point"})
    unit = Text(max_length=20, metadata={"description": "Default: the unit of the point"})
    source = Text()
    note = Text(lines=True)


class BudgetCorrelationSchema(StrictSchema):
    """The correlation coefficient of two components; 0 where it is not given."""

    between = fields.List(Text(max_length=200), required=True, validate=validate.Length(equal=2))
    r = DecimalText(required=True)


class BudgetValueSchema(StrictSchema):
    """A value with its unit, and components that only this point has."""

    value = DecimalText(required=True)
    unit = Text(required=True, max_length=20)
    components = fields.List(
        fields.Nested(BudgetComponentSchema), validate=validate.Length(max=MOST_COMPONENTS)
    )


class BudgetCoverageSchema(StrictSchema):
    """A probability and how k is found for it, or k as stated."""

    probability_pct = DecimalText(validate=_probable, metadata={"description": "Default 95.45"})
    method = fields.String(validate=validate.OneOf((STUDENT, DOMINANT)))
    components = fields.List(
        Text(max_length=200),
        validate=validate.Length(1, 2),
        metadata={"description": "dominant_rectangular: which; default: found by their weight"},
    )
    k = DecimalText(validate=above(0))

    @validates_schema
    def _one_way(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "k" in data and len(data) > 1:
            raise _at("k", "k beside a probability or method", "send k, or how it is found")
        if "components" in data and data.get("method") != DOMINANT:
            raise _at("components", "only for dominant_rectangular", "set method, or leave it out")


class CmcReferenceSchema(StrictSchema):
    """A recorded capability in a given version."""

    id = Text(required=True, max_length=200)
    version = WholeNumber(minimum=1)


class BudgetRoundingSchema(StrictSchema):
    """How many significant digits a reported U has; it is rounded up."""

    digits = WholeNumber(required=True, minimum=1, maximum=2)


# Made once: a schema costs more to make than to use.
_COVERAGE, _CMC, _ID = BudgetCoverageSchema(), CmcReferenceSchema(), Text(max_length=200)


class CoverageField(fields.Field[Any]):
    """A method by its name, or an object of `BudgetCoverageSchema`, which both load as."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        return _COVERAGE.load({"method": value} if isinstance(value, str) else value)


class CmcField(fields.Field[Any]):
    """The id of a capability or {"id", "version"}; loads as the latter."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        return _CMC.load(value) if isinstance(value, Mapping) else {"id": _ID.deserialize(value)}


class NewBudgetSchema(StrictSchema):
    """A budget for one point, or for several with the same components."""

    id = Text(max_length=200, metadata={"description": "Default: made from the content"})
    title = Text()
    run_evaluation = WholeNumber(
        minimum=1,
        metadata={
            "description": "Stored runs whose contributions are in it; without points, for each "
            "of their forces"
        },
    )
    point = fields.Nested(BudgetValueSchema)
    points = fields.List(fields.Nested(BudgetValueSchema), validate=validate.Length(1, MOST_POINTS))
    components = fields.List(
        fields.Nested(BudgetComponentSchema), validate=validate.Length(max=MOST_COMPONENTS)
    )
    correlations = fields.List(
        fields.Nested(BudgetCorrelationSchema), validate=validate.Length(max=MOST_CORRELATIONS)
    )
    coverage = CoverageField(
        metadata={"description": '"student" (default), "dominant_rectangular", or an object'}
    )
    mode = Text(max_length=200, metadata={"description": "tension or compression, for the CMC"})
    instrument_type = Text(max_length=200, metadata={"description": "Type of item, for the CMC"})
    cmc = CmcField(
        allow_none=True,
        metadata={"description": "Default: found by mode and force; null: no floor"},
    )
    rounding = fields.Nested(BudgetRoundingSchema)
    note = Text(lines=True)
    store = fields.Boolean(load_default=True, truthy={True}, falsy={False})

    @validates_schema
    def _one_or_several(self, data: dict[str, Any], **kwargs: Any) -> None:
        named = ("point" in data) + ("points" in data)
        if named == 2 or (named == 0 and "run_evaluation" not in data):
            raise _at("point", "one of point and points is needed", "send point, or points")


def _at(name: str, detail: str, remedy: str) -> ValidationError:
    return ValidationError(refuse(detail, remedy).messages, name)
