"""The answer of the two health addresses."""

from __future__ import annotations

from marshmallow import Schema, fields


class HealthSchema(Schema):
    """One word."""

    status = fields.String(required=True, metadata={"description": "ok, or ready"})
