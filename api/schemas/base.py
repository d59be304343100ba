"""Bases of all schemas: what is not known is refused, and remarks are kept."""

from __future__ import annotations

from typing import Any

from marshmallow import RAISE, Schema, fields

from api.schemas.fields import Complaint, Text


class StrictSchema(Schema):
    """Refuses unknown fields and lists the known ones, so that a typing error is not lost."""

    class Meta:
        """Every field is known or refused."""

        unknown = RAISE

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        known = sorted(field.data_key or name for name, field in self.load_fields.items())
        self.error_messages["unknown"] = Complaint(
            "unknown field", "known here: " + ", ".join(known) if known else "leave it out"
        )
        self.error_messages["type"] = Complaint("not a JSON object", "send {...} here")


class AnnotatedSchema(StrictSchema):
    """A record that may carry remarks, which are kept as text and decide nothing."""

    note = Text(lines=True, metadata={"description": "Free remark, kept as text"})
    title = Text(lines=True, metadata={"description": "Free heading, kept as text"})
    meaning = Text(lines=True, metadata={"description": "Free explanation, kept as text"})
    amendment = Text(lines=True, metadata={"description": "What was amended, kept as text"})


class CorrectionSchema(StrictSchema):
    """Who corrects a record, and why."""

    by = Text(required=True, max_length=200, metadata={"description": "Person who corrects it"})
    reason = Text(required=True, lines=True)


class CorrectionMadeSchema(StrictSchema):
    """One record put right: as it was and became, by whom, why and when."""

    before = fields.Dict()
    after = fields.Dict()
    by = fields.String()
    reason = fields.String()
    at = fields.String()


class SwapMadeSchema(StrictSchema):
    """One exchange of two items: in which time, how much it moved, by whom, why and when."""

    items = fields.List(fields.String())
    from_ = fields.String(data_key="from", attribute="from")
    until = fields.String()
    moved = fields.Dict()
    by = fields.String()
    reason = fields.String()
    at = fields.String()
