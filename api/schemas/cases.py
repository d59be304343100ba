"""The case of a recall: its steps, the resumption of work, and how it is answered."""

from __future__ import annotations

from marshmallow import fields, validate

from api.schemas.base import StrictSchema
from api.schemas.fields import MomentText, Text, WholeNumber
from api.schemas.recalls import Stale

STATES = ("open", "assessed", "notified", "closed")


class StepSchema(StrictSchema):
    """Who decided, and why."""

    by = Text(required=True, max_length=200, metadata={"description": "Name of the person"})
    reason = Text(required=True, lines=True)


class CaseChangeSchema(StepSchema):
    """The next state of a case."""

    state = fields.String(required=True, validate=validate.OneOf(STATES))


class StepAnswerSchema(StepSchema):
    """A step that was taken."""

    at = MomentText()


class HistorySchema(StepAnswerSchema):
    """A change of state."""

    from_ = Text(data_key="from", attribute="from")
    to = Text()


class CaseSchema(StrictSchema):
    """Where the handling of a recall stands."""

    recall = fields.Integer()
    number = Text()
    state = fields.String(validate=validate.OneOf(STATES))
    version = WholeNumber()
    assessed_by = Text(allow_none=True)
    resumption = fields.Nested(StepAnswerSchema, allow_none=True)
    history = fields.List(fields.Nested(HistorySchema))
    dispositions = fields.Dict()
    notices = fields.Dict()
    stale = Stale(metadata={"description": 'Whether the recall is stale: true, false, "checking"'})
    reopen = fields.Boolean(
        metadata={"description": "Closed, stale, and not looked at again since"}
    )


class SimilarItemSchema(StrictSchema):
    """An item that could have the same thing wrong."""

    item = Text()
    kind = Text()
    type = Text(allow_none=True)
    reasons = fields.List(Text())


class SimilarItemsSchema(StrictSchema):
    """Items that could have the same thing wrong, those with most in common first."""

    items = fields.List(fields.Nested(SimilarItemSchema))
    caution = Text()
