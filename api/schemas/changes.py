"""The change feed: where to go on, and what a change says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import fields, validate

from api.schemas.base import StrictSchema
from api.schemas.fields import MomentText, Text, WholeNumber, moment_of, refuse

# The same words as in the service, which schemas do not import.
EVENTS = (
    "certificate.recorded",
    "certificate.issued",
    "certificate.superseded",
    "certificate.voided",
    "certificate.recalled",
    "disposition.made",
    "case.changed",
    "recall.stale",
    "notice.created",
    "alert.raised",
    "alert.answered",
    "alert.ended",
)


class Since(fields.Field[int | str]):
    """A cursor of the feed, or a date or date-time."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> int | str:
        text = str(value)
        if text.isascii() and text.isdigit():
            if int(text) >= 2**63:
                raise refuse("not a cursor of this feed", "take it from the answer before")
            return int(text)
        return moment_of(text)


class EventNames(fields.Field[list[str]]):
    """Names of events, joined by commas."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> list[str]:
        names = str(value).split(",")
        unknown = [name for name in names if name not in EVENTS]
        if unknown:
            raise refuse(f"there is no event {unknown[0]}", f"events are {', '.join(EVENTS)}")
        return names


class ChangeQuerySchema(StrictSchema):
    """Where to go on, and which events are wanted."""

    since = Since(
        load_default=0,
        metadata={"description": "Cursor of the last answer, or a date or date-time"},
    )
    events = EventNames(metadata={"description": "Names joined by commas; default: all"})
    limit = fields.Integer(load_default=100, validate=validate.Range(1, 1000))


class ChangeSchema(StrictSchema):
    """One change; of the details those that belong to its event."""

    cursor = Text()
    at = MomentText()
    event = fields.String(validate=validate.OneOf(EVENTS))
    certificate = Text()
    revision = WholeNumber()
    issuer = Text()
    item = Text()
    status = Text()
    superseded_by = Text()
    recall = fields.Integer()
    recall_number = Text()
    class_ = Text(data_key="class", attribute="class")
    action = Text()
    state = Text()
    stale = Text(metadata={"description": '"stale" or "current": whether a recall still holds'})
    notice = Text()
    notice_id = fields.Integer()
    alert = fields.Integer(metadata={"description": "Id of the alert"})


class ChangesSchema(StrictSchema):
    """Changes in order, and where to go on: next time, or at once where more follow."""

    items = fields.List(fields.Nested(ChangeSchema), required=True)
    cursor = Text(required=True)
    next = Text(required=True, allow_none=True, metadata={"description": "Null at the end"})
