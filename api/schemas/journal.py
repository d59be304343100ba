"""The journal as it is asked for and shown."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.base import StrictSchema
from api.schemas.fields import FreeObject, MomentText, Text


class JournalQuerySchema(StrictSchema):
    """Filters of the journal."""

    operation = Text(metadata={"description": 'What was asked for, such as "recalls.report_fault"'})
    key = Text(metadata={"description": "Public id of the API key"})
    person = Text()
    since = MomentText(metadata={"description": "Date or date-time with zone"})


class JournalLineSchema(StrictSchema):
    """One line: who did what, when, and the hash of the line before."""

    position = fields.Integer()
    at = MomentText()
    operation = Text()
    path = Text()
    key = Text()
    key_name = Text()
    person = Text()
    request_id = Text()
    facts = fields.List(FreeObject())
    previous = Text()
    hash = Text()


class JournalHeadSchema(StrictSchema):
    """Where the journal ends."""

    position = fields.Integer()
    hash = Text()
