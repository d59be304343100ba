"""Addresses that are told of changes."""

from __future__ import annotations

from marshmallow import fields, validate

from api.schemas.base import StrictSchema
from api.schemas.changes import EVENTS
from api.schemas.fields import MomentText, Text, WholeNumber

EVENT = validate.OneOf(EVENTS)
SOME = validate.Length(min=1)


class WebhookSchema(StrictSchema):
    """Where to, and which events."""

    url = Text(required=True, max_length=2000, metadata={"description": "http or https"})
    events = fields.List(
        fields.String(validate=EVENT), validate=SOME, load_default=lambda: list(EVENTS)
    )


class WebhookChangeSchema(StrictSchema):
    """Pause it, set it going again, or other events."""

    active = fields.Boolean(truthy={True}, falsy={False})
    events = fields.List(fields.String(validate=EVENT), validate=SOME)


class WebhookAnswerSchema(StrictSchema):
    """A webhook as it is answered; its secret only once, when it is registered."""

    id = fields.Integer()
    url = Text()
    events = fields.List(Text())
    state = fields.String(validate=validate.OneOf(("active", "paused", "suspended")))
    cursor = Text()
    created_at = MomentText()
    secret = Text()
    version = WholeNumber()


class WebhookDeliverySchema(StrictSchema):
    """One message to a webhook, and what came of it."""

    id = fields.Integer()
    state = fields.String(validate=validate.OneOf(("waiting", "delivered")))
    changes = WholeNumber()
    attempts = WholeNumber()
    created_at = MomentText()
    due_at = MomentText(allow_none=True)
    delivered_at = MomentText(allow_none=True)
    outcomes = fields.List(fields.Dict())
