"""A person who answers for changes."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.base import StrictSchema
from api.schemas.fields import Text


class PersonChangeSchema(StrictSchema):
    """What may change of a person."""

    name = Text(max_length=200)
    office = Text(max_length=200, metadata={"description": "Such as quality manager"})
    active = fields.Boolean(truthy={True}, falsy={False})


class PersonSchema(StrictSchema):
    """A person, named as records will name it."""

    id = Text(required=True, max_length=100)
    name = Text(required=True, max_length=200)
    office = Text(max_length=200, metadata={"description": "Such as quality manager"})


class PersonAnswerSchema(PersonSchema):
    """A person as it is answered."""

    active = fields.Boolean()
    version = fields.Integer()
