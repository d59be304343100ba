"""A laboratory as one JSON document."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.base import AnnotatedSchema, StrictSchema
from api.schemas.calibrations import CalibrationSchema
from api.schemas.checks import CheckSchema
from api.schemas.compositions import CompositionSchema
from api.schemas.fields import Text
from api.schemas.items import ItemSchema
from api.schemas.requirements import NewRequirementSchema


class LaboratorySchema(AnnotatedSchema):
    """A laboratory file. Texts beside the records are kept with the import and decide nothing."""

    id = Text(metadata={"description": "Name of the document, kept as text"})
    traps = fields.List(Text(lines=True), metadata={"description": "Remarks, kept as text"})
    composition_bounds = Text(metadata={"description": "Kept as text"})
    time_zone = Text(metadata={"description": "IANA zone of bare dates; default UTC"})
    items = fields.List(fields.Nested(ItemSchema))
    composition = fields.List(fields.Nested(CompositionSchema))
    calibrations = fields.List(fields.Nested(CalibrationSchema))
    checks = fields.List(fields.Nested(CheckSchema))
    requirements = fields.List(fields.Nested(NewRequirementSchema))


class ImportQuerySchema(StrictSchema):
    """Options of an import."""

    dry_run = fields.Boolean(load_default=False)


class ImportAnswerSchema(StrictSchema):
    """How many records of each collection were created, and how many were there already."""

    created = fields.Dict(keys=fields.String(), values=fields.Integer())
    unchanged = fields.Dict(keys=fields.String(), values=fields.Integer())
    notes = fields.List(
        fields.Dict(), metadata={"description": "What the shares of parts leave open"}
    )
    alerts = fields.Integer(
        metadata={"description": "How many alerts were raised or opened again, if any were"}
    )
    dry_run = fields.Boolean()
