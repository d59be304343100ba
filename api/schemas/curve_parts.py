"""The parts of a curve: coefficients, what the polynomial gives, and the range of force."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.rules.units import FORCE_UNITS
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, Text, refuse

# What a polynomial gives: the force of a deflection, or the deflection of a force.
GIVES = ("force", "deflection")
# ASTM E74 fits up to the fifth degree, ISO 376 up to the third (from memory).
MOST_COEFFICIENTS = 6


def _in_number(coefficients: list[Any]) -> None:
    if not 2 <= len(coefficients) <= MOST_COEFFICIENTS:
        raise refuse(
            f"{len(coefficients)} coefficient(s) are no curve of degree 1 to 5",
            "send the constant first (0 if there is none), then one for each power: 2 to 6",
        )


class Coefficients(fields.List[Decimal]):
    """By rising power, the constant first: degree 1 to 5."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(DecimalText(), validate=_in_number, **kwargs)


class CurveRangeSchema(StrictSchema):
    """Forces between which a curve holds, both ends inside."""

    from_ = DecimalText(data_key="from", attribute="from", required=True)
    to = DecimalText(required=True)

    @validates_schema
    def _in_order(self, data: dict[str, Any], **kwargs: Any) -> None:
        if {"from", "to"} <= data.keys() and data["from"] >= data["to"]:
            error = refuse("the range is empty", "send the smaller force as from")
            raise ValidationError(error.messages, "to")


class CurveSchema(StrictSchema):
    """The polynomial by which an item gives a force for a deflection."""

    of = fields.String(
        required=True,
        validate=validate.OneOf(GIVES),
        metadata={"description": "What the polynomial gives, of the other one"},
    )
    coefficients = Coefficients(
        required=True, metadata={"description": "By rising power, the constant first"}
    )
    unit = fields.String(
        required=True,
        validate=validate.OneOf(FORCE_UNITS),
        metadata={"description": "Of the force"},
    )
    deflection_unit = Text(
        max_length=40, metadata={"description": "As mV/V; kept as it is written"}
    )
    range = fields.Nested(
        CurveRangeSchema,
        metadata={"description": "In `unit`; default: the forces of its results, zero left out"},
    )
