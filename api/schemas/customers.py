"""A customer of the laboratory."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.base import StrictSchema
from api.schemas.fields import Text


class CustomerChangeSchema(StrictSchema):
    """How a customer is reached."""

    contact = Text(lines=True)
    email = Text(max_length=320)
    note = Text(lines=True)


class CustomerSchema(CustomerChangeSchema):
    """A customer, named as on its certificates."""

    name = Text(required=True, max_length=200)


class CustomerAnswerSchema(CustomerSchema):
    """A customer as it is answered."""

    id = fields.Integer()
    version = fields.Integer()
