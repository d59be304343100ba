"""A set-up that is planned, and what was found when it was compared with the records."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema

from api.rules.fitting.choice import CHOICES
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, FreeObject, MomentText, Text, WholeNumber, above, refuse
from api.schemas.quantities import ForceText, an_angle
from api.schemas.vocabulary import OUTCOMES, PLACES

_MOST = 100


class FittingSchema(StrictSchema):
    """An adapter, assembly or part in the set-up; the parts of an assembly need not be named."""

    item = Text(required=True, max_length=200)
    position = fields.String(
        validate=validate.OneOf(PLACES), metadata={"description": "Of it and of its parts"}
    )


class SetupReferenceSchema(StrictSchema):
    """An item that measures the force, and its share of it."""

    item = Text(required=True, max_length=200)
    weight = DecimalText(validate=above(0), metadata={"description": "Share of the force; 1"})


class NewSetupCheckSchema(StrictSchema):
    """A set-up to be checked: an instrument, or a type of one, and what it is to hang in."""

    instrument = Text(max_length=200)
    type = Text(max_length=200, metadata={"description": "In the place of an instrument"})
    capacity = ForceText(metadata={"description": "With a type: the rated capacity"})
    make = Text(max_length=200, metadata={"description": "With a type: who makes it"})
    model = Text(max_length=200, metadata={"description": "With a make"})
    requirement = Text(
        max_length=200, metadata={"description": "The one that fits the instrument best if absent"}
    )
    requirement_version = WholeNumber(minimum=1)
    at = MomentText(metadata={"description": "When the load is to be applied; now if absent"})
    fittings = fields.List(fields.Nested(FittingSchema), validate=validate.Length(max=_MOST))
    machine = Text(max_length=200)
    references = fields.List(
        fields.Nested(SetupReferenceSchema), validate=validate.Length(max=_MOST)
    )
    readouts = fields.List(Text(max_length=200), validate=validate.Length(max=_MOST))
    planned_points = fields.List(ForceText(), validate=validate.Length(min=1, max=_MOST))
    misalignment_deg = DecimalText(
        validate=an_angle,
        metadata={"description": "Angle between the load line and the axis of the instrument"},
    )
    orientation_kept = fields.Boolean(truthy={True}, falsy={False})
    person = Text(max_length=200)
    note = Text(lines=True)
    store = fields.Boolean(load_default=True, truthy={True}, falsy={False})

    @validates_schema
    def _an_instrument_or_a_type(self, data: dict[str, Any], **kwargs: Any) -> None:
        if ("instrument" in data) == ("type" in data):
            raise refuse("neither an instrument nor a type, or both", "name one of the two")
        for name, needs in (
            ("capacity", "type"),
            ("make", "type"),
            ("model", "make"),
            ("requirement_version", "requirement"),
        ):
            if name in data and needs not in data:
                error = refuse(f"{name} without {needs}", f"give {needs} too, or leave it out")
                raise ValidationError(error.messages, name)


class OffBySchema(Schema):
    """Found less required, absolute with its unit, and as a share of what is required."""

    absolute = fields.String(required=True)
    relative = DecimalText(allow_none=True)


class LikelyEffectSchema(Schema):
    """Bounds of the size of the relative error; null where nobody stated a figure."""

    error_rel_low = DecimalText(required=True, allow_none=True)
    error_rel_high = DecimalText(required=True, allow_none=True)
    source = fields.String(required=True)
    note = fields.String()


class FindingSchema(Schema):
    """One comparison: what was compared, what was required and found, and what to do."""

    check = fields.String(required=True)
    outcome = fields.String(required=True, validate=validate.OneOf(OUTCOMES))
    warning = fields.Boolean(metadata={"description": "It agrees, but only just"})
    about = fields.List(fields.String(), required=True)
    position = fields.String()
    required = fields.Raw()
    required_by = fields.String(metadata={"description": "Record or source of what is required"})
    found = fields.Raw()
    off_by = fields.Nested(OffBySchema)
    computed = FreeObject()
    likely_effect = fields.Nested(LikelyEffectSchema)
    missing = fields.String(metadata={"description": "The record without which nobody can say"})
    sentence = fields.String(required=True)
    remedy = fields.String()


class ShelfChoiceSchema(Schema):
    """A part on the shelf, the best choice first; a barred one may not be used."""

    item = fields.String(required=True)
    choice = fields.String(required=True, validate=validate.OneOf(CHOICES))
    owner = fields.String()
    found = fields.Raw()
    off_by = fields.Nested(OffBySchema)
    warnings = fields.List(fields.String(), required=True)
    reasons = fields.List(fields.String(), metadata={"description": "Why it is barred"})


class ShelfSchema(Schema):
    """The parts on the shelf for one requirement."""

    required_for = fields.String(required=True, data_key="for")
    required = fields.Raw(required=True)
    choices = fields.List(fields.Nested(ShelfChoiceSchema), required=True)
    left_off = WholeNumber(required=True)


class RequirementReferenceSchema(Schema):
    """The requirement that was compared with."""

    id = fields.String(required=True)
    version = fields.Integer(required=True)
    source = fields.String(required=True)
    taken_by = fields.String(
        metadata={
            "description": "item, make_model_capacity, make_model, type_capacity, type, or named"
        }
    )
    why = fields.String()


class SetupCheckEntrySchema(Schema):
    """A stored set-up check in short."""

    id = fields.Integer(required=True, allow_none=True)
    recorded_at = fields.String()
    at = fields.String(required=True)
    instrument = fields.String()
    type = fields.String()
    outcome = fields.String(
        required=True,
        validate=validate.OneOf(OUTCOMES),
        metadata={"description": "The worst of the findings"},
    )
    differs = WholeNumber(required=True)
    not_checked = WholeNumber(required=True)
    warnings = WholeNumber(required=True)


class SetupCheckSchema(SetupCheckEntrySchema):
    """What was found."""

    requirement = fields.Nested(RequirementReferenceSchema, allow_none=True)
    requirement_notes = fields.List(
        fields.String(),
        metadata={"description": "That its model has no requirement, and which neighbours have"},
    )
    highest_force = fields.String(allow_none=True)
    parts = fields.List(fields.String(), metadata={"description": "Fittings and parts found"})
    findings = fields.List(fields.Nested(FindingSchema), required=True)
    shelf = fields.List(fields.Nested(ShelfSchema), required=True)
    cautions = fields.List(fields.String(), required=True)
    engine_version = fields.String()


class StoredSetupCheckSchema(SetupCheckSchema):
    """What was found, with the set-up that was asked about."""

    request = FreeObject()


class SetupCheckQuerySchema(StrictSchema):
    """Filters of a list of set-up checks."""

    item = Text(metadata={"description": "Instrument, machine, reference, fitting or part"})
    outcome = fields.String(validate=validate.OneOf(OUTCOMES))
