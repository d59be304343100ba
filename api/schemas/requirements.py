"""A requirement record: what an instrument asks of the set-up that it is calibrated in."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema, ValidationError, fields, validates_schema

from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, Text, refuse
from api.schemas.quantities import ForceText, LengthText, an_angle

REQUIRED = (
    *("pin", "top_pin", "bottom_pin", "shackle", "roller_bearings", "spherical_seat"),
    *("rod_thread", "orientation_kept", "max_misalignment_deg"),
)


class AppliesToSchema(StrictSchema):
    """One item, every item of a make and model, or of a type; of one rated capacity or of any."""

    item = Text(max_length=200)
    make = Text(max_length=200, metadata={"description": "With its model"})
    model = Text(
        max_length=200, metadata={"description": "Compared but for case and spacing, like the make"}
    )
    type = Text(max_length=200)
    capacity = ForceText(metadata={"description": "Compared exactly, whatever the unit"})

    @validates_schema
    def _one_of_two(self, data: dict[str, Any], **kwargs: Any) -> None:
        if sum(name in data for name in ("item", "type", "make")) != 1:
            remedy = "name an item, a make and model, or a type"
            raise refuse("none of item, make and model, and type, or several of them", remedy)
        for name, needs in (("make", "model"), ("model", "make")):
            if name in data and needs not in data:
                error = refuse(f"{name} without {needs}", f"give {needs} too")
                raise ValidationError(error.messages, name)
        if "capacity" in data and "item" in data:
            error = refuse("a capacity without a type", "an item has its own capacity")
            raise ValidationError(error.messages, "capacity")


class PinSchema(StrictSchema):
    """A pin: its diameter and the sizes of its tolerances, none if not given."""

    diameter = LengthText(required=True)
    tolerance_plus = LengthText(zero=True)
    tolerance_minus = LengthText(zero=True)


class ShackleSchema(StrictSchema):
    """A shackle: its style, such as bow or dee, and its nominal size."""

    style = Text(max_length=200)
    size = LengthText()

    @validates_schema
    def _something(self, data: dict[str, Any], **kwargs: Any) -> None:
        if not data:
            raise refuse("nothing is required of the shackle", "give style, size or both")


class NewRequirementSchema(StrictSchema):
    """A requirement to be recorded; its version is counted by the server."""

    id = Text(required=True, max_length=200)
    applies_to = fields.Nested(AppliesToSchema, required=True)
    pin = fields.Nested(PinSchema, metadata={"description": "Every pin of the set-up"})
    top_pin = fields.Nested(PinSchema)
    bottom_pin = fields.Nested(PinSchema)
    shackle = fields.Nested(ShackleSchema)
    roller_bearings = fields.Boolean(truthy={True}, falsy={False})
    spherical_seat = fields.Boolean(truthy={True}, falsy={False})
    rod_thread = Text(max_length=200, metadata={"description": "shouldered, straight ..."})
    orientation_kept = fields.Boolean(
        truthy={True}, falsy={False}, metadata={"description": "The orientation marks must be kept"}
    )
    max_misalignment_deg = DecimalText(validate=an_angle)
    source = Text(
        required=True,
        metadata={"description": 'Drawing, manual, or "common practice, no source"'},
    )
    edition = Text()
    note = Text(lines=True)

    @validates_schema
    def _requires_something(self, data: dict[str, Any], **kwargs: Any) -> None:
        if not any(name in data for name in REQUIRED):
            raise refuse("nothing is required", f"give at least one of {', '.join(REQUIRED)}")
        if "pin" in data and ("top_pin" in data or "bottom_pin" in data):
            error = refuse("pin stands for every pin", "give pin, or top_pin and bottom_pin")
            raise ValidationError(error.messages, "pin")


class RequirementAnswerSchema(Schema):
    """A requirement as it is answered."""

    id = fields.String(required=True)
    version = fields.Integer(required=True)
    applies_to = fields.Nested(AppliesToSchema, required=True)
    pin = fields.Nested(PinSchema)
    top_pin = fields.Nested(PinSchema)
    bottom_pin = fields.Nested(PinSchema)
    shackle = fields.Nested(ShackleSchema)
    roller_bearings = fields.Boolean()
    spherical_seat = fields.Boolean()
    rod_thread = fields.String()
    orientation_kept = fields.Boolean()
    max_misalignment_deg = DecimalText()
    source = fields.String(required=True)
    edition = fields.String()
    note = fields.String()
    versions = fields.List(fields.Integer(), metadata={"description": "Only in a single answer"})


class RequirementQuerySchema(StrictSchema):
    """Filters of a list of requirements."""

    item = Text()
    type = Text()
    make = Text()
    model = Text()
    best_for = Text(
        metadata={"description": "Only the one that counts for this item; 422 if several do"}
    )
