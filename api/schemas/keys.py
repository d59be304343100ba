"""API keys as they are sent and shown; the token itself is shown once, at creation."""

from __future__ import annotations

from marshmallow import Schema, fields

from api.schemas.base import StrictSchema
from api.schemas.fields import MomentText, Text, WholeNumber


class NewKeySchema(StrictSchema):
    """A key to be created."""

    name = Text(required=True, max_length=200, metadata={"description": "Who or what will use it"})
    scopes = fields.List(
        Text(max_length=20),
        required=True,
        metadata={"description": "Of read, decide, record, recall, admin; admin holds them all"},
    )
    customer = Text(metadata={"description": "Customer whose records alone the key may see"})
    person = Text(metadata={"description": "Id of the recorded person for whom the key speaks"})
    expires = MomentText(
        metadata={"description": "Instant with zone, or a date: it ends as that day begins (UTC)"}
    )


class KeySchema(Schema):
    """A key without its secret."""

    id = fields.String(required=True, metadata={"description": "Public part of the key"})
    name = fields.String(required=True)
    scopes = fields.List(fields.String(), required=True)
    customer = fields.String(allow_none=True)
    person = fields.String(allow_none=True, metadata={"description": "Name of that person"})
    created_at = fields.String(required=True, metadata={"format": "date-time"})
    expires_at = fields.String(allow_none=True, metadata={"format": "date-time"})
    revoked_at = fields.String(allow_none=True, metadata={"format": "date-time"})
    last_used_at = fields.String(
        allow_none=True, metadata={"format": "date-time", "description": "To within a minute"}
    )


class CreatedKeySchema(KeySchema):
    """A key just created, with its token."""

    token = fields.String(
        required=True, metadata={"description": "The whole key; it cannot be shown again"}
    )


class RotationSchema(StrictSchema):
    """How a key is replaced."""

    grace_hours = WholeNumber(
        maximum=720,
        load_default=24,
        metadata={"description": "How long the old key stays valid; 0 ends it at once"},
    )
    expires = MomentText(
        metadata={"description": "End of the new key, as at creation; default: that of the old"}
    )


class ReplacedKeySchema(Schema):
    """The key that was replaced."""

    id = fields.String(required=True)
    expires_at = fields.String(required=True, metadata={"format": "date-time"})


class RotatedKeySchema(CreatedKeySchema):
    """The new key with its token, and when the old one ends."""

    replaces = fields.Nested(ReplacedKeySchema, required=True)
