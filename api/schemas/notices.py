"""Notices to customers, and what became of them."""

from __future__ import annotations

from marshmallow import fields, validate

from api.schemas.base import StrictSchema
from api.schemas.fields import MomentText, Text

WAYS = ("email", "post", "courier", "hand", "phone", "portal", "other")
FORMATS = ("json", "text", "html", "pdf")


class NoticeRequestSchema(StrictSchema):
    """Who authorises the notices, and what they say besides the facts of the recall."""

    by = Text(required=True, max_length=200, metadata={"description": "Who authorises them"})
    reply_by = MomentText(metadata={"description": "Default: 30 days from now"})
    wrong = Text(
        lines=True,
        metadata={"description": "What was wrong, in plain words, in place of the fault's meaning"},
    )
    customers = fields.List(Text(max_length=200), validate=validate.Length(min=1))
    replace = fields.Boolean(
        load_default=False,
        truthy={True},
        falsy={False},
        metadata={"description": "A new notice also for customers that have one"},
    )


class NoticeQuerySchema(StrictSchema):
    """Filters of the notices of a recall."""

    acknowledged = fields.Boolean(
        metadata={"description": "false: those that nobody has answered and nothing replaced"}
    )


class NoticeFormatSchema(StrictSchema):
    """In which form a notice is wanted; without it the Accept header decides."""

    format = fields.String(validate=validate.OneOf(FORMATS))


class NoticeEventSchema(StrictSchema):
    """How something was done, by whom and when."""

    how = fields.String(required=True, validate=validate.OneOf(WAYS))
    by = Text(required=True, max_length=200, metadata={"description": "Who did or recorded it"})
    at = MomentText(metadata={"description": "Default: now"})
    note = Text(lines=True)


class DeliverySchema(NoticeEventSchema):
    """That a notice was delivered, or with `reminder` that its customer was reminded."""

    to = Text(required=True, max_length=320)
    reminder = fields.Boolean(load_default=False, truthy={True}, falsy={False})


class AcknowledgementSchema(NoticeEventSchema):
    """That a customer confirmed a notice."""

    from_ = Text(required=True, max_length=320, data_key="from", attribute="from")


class NoticeHeadSchema(StrictSchema):
    """A notice without its content, with what became of it."""

    id = fields.Integer()
    number = Text()
    recall = fields.Integer()
    customer = Text()
    created_at = MomentText()
    by = Text()
    reply_by = MomentText()
    replaces = Text(allow_none=True)
    content_hash = Text(metadata={"description": "SHA-256 of the JSON text of content, as sent"})
    acknowledged = fields.Boolean()
    overdue = fields.Boolean()
    deliveries = fields.List(fields.Dict())
    reminders = fields.List(fields.Dict())
    acknowledgements = fields.List(fields.Dict())


class NoticeSchema(NoticeHeadSchema):
    """A notice with its content."""

    content = fields.Dict()


class NoticesCreatedSchema(StrictSchema):
    """Notices that were created, and customers that have theirs already."""

    items = fields.List(fields.Nested(NoticeHeadSchema))
    kept = fields.List(Text(), metadata={"description": "Customers whose notice stays"})
