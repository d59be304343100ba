"""A curve that a certificate assigns, and what is asked of it; shape and type only."""

from __future__ import annotations

from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.rules.units import FORCE_UNITS
from api.schemas.base import StrictSchema
from api.schemas.certificates import CertificateQuerySchema
from api.schemas.curve_parts import Coefficients, CurveRangeSchema
from api.schemas.fields import DecimalText, Text, refuse


class CurveQuerySchema(CertificateQuerySchema):
    """One of a deflection and a force; without either the curve itself."""

    deflection = DecimalText(metadata={"description": "Gives the force; in `deflection_unit`"})
    force = DecimalText(metadata={"description": "Gives the deflection"})
    unit = fields.String(
        validate=validate.OneOf(FORCE_UNITS),
        metadata={"description": "Unit of the force, sent or answered; default: the curve's"},
    )

    @validates_schema
    def _one_of_two(self, data: dict[str, Any], **kwargs: Any) -> None:
        if {"deflection", "force"} <= data.keys():
            error = refuse("one of deflection and force is asked", "leave the other out")
            raise ValidationError(error.messages, "force")


class CurveAnswerSchema(StrictSchema):
    """A curve, and what it gives where that was asked, to 12 significant digits if it is a root."""

    certificate = Text()
    revision = fields.Integer()
    issuer = Text()
    item = Text()
    of = Text()
    coefficients = Coefficients()
    unit = Text(metadata={"description": "Of the force that is sent or answered"})
    curve_unit = Text(metadata={"description": "Of the forces of the curve, its range included"})
    deflection_unit = Text()
    range = fields.Nested(CurveRangeSchema)
    force = DecimalText()
    deflection = DecimalText()
