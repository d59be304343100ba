"""A load outside a calibration, or a mishap: proof load, overload, fall, shock, other use."""

from __future__ import annotations

from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.rules.units import FORCE_UNITS
from api.schemas.base import AnnotatedSchema, StrictSchema
from api.schemas.fields import DecimalText, MomentText, Text, WholeNumber, above, refuse
from api.schemas.vocabulary import EVENT_KINDS


class LoadEventSchema(AnnotatedSchema):
    """One load event, as recorded."""

    id = Text(required=True, max_length=200)
    item = Text(required=True, max_length=200)
    at = MomentText(required=True)
    kind = fields.String(
        required=True,
        validate=validate.OneOf(EVENT_KINDS),
        metadata={"description": "All but use ask for an inspection before the next load"},
    )
    force = DecimalText(validate=above(0))
    unit = fields.String(validate=validate.OneOf(FORCE_UNITS))
    applications = WholeNumber(metadata={"description": "Load applications that it adds"})
    person = Text(required=True, max_length=200)

    @validates_schema
    def _a_force_has_a_unit(self, data: dict[str, Any], **kwargs: Any) -> None:
        if ("force" in data) != ("unit" in data):
            missing = "unit" if "force" in data else "force"
            error = refuse(f"{missing} is missing", "a force goes with its unit")
            raise ValidationError(error.messages, missing)


class LoadEventQuerySchema(StrictSchema):
    """Filters of a list of load events."""

    item = Text()
    kind = fields.String(validate=validate.OneOf(EVENT_KINDS))
