"""Alerts: filters of their list, how one is shown, and how it is answered."""

from __future__ import annotations

from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.schemas.base import StrictSchema
from api.schemas.calibrations import MAX_REVISION
from api.schemas.fields import Flag, MomentText, Text, WholeNumber, refuse

# The same words as in the service, which schemas do not import.
KINDS = ("as_found", "check", "overdue_use")
STATES = ("open", "answered", "ended")


_FOLLOWED = {"description": "Whether the next evidence after it was good"}


class AlertFilterSchema(StrictSchema):
    """Which alerts are meant."""

    item = Text(max_length=200)
    kind = fields.String(
        validate=validate.OneOf(KINDS), metadata={"description": "check: inspections too"}
    )
    since = MomentText(metadata={"description": "Raised then or later"})
    failed_before = MomentText(
        metadata={"description": "Failed, or last used overdue, before then"}
    )
    good_evidence_followed: fields.Boolean = Flag(metadata=_FOLLOWED)


class AlertQuerySchema(AlertFilterSchema):
    """Filters of the list."""

    good_evidence_followed = fields.Boolean(metadata=_FOLLOWED)
    state = fields.String(validate=validate.OneOf(STATES))


class EvidenceSchema(StrictSchema):
    """A check or a certificate that speaks for an item, and when it was made."""

    check = Text()
    certificate = Text()
    revision = WholeNumber(maximum=MAX_REVISION)
    issuer = Text()
    at = MomentText()


class RaisedBySchema(StrictSchema):
    """The check, the calibration as found, or the value that was overdue."""

    check = Text()
    kind = Text(metadata={"description": "Of the check, as recorded"})
    certificate = Text()
    revision = WholeNumber(maximum=MAX_REVISION)
    issuer = Text()
    due_at = MomentText()


class AlertAnswerSchema(StrictSchema):
    """One answer to an alert: a recall or a reason, or both."""

    recall = fields.Integer()
    recall_number = Text()
    reason = Text()
    by = Text()
    at = MomentText()
    lapsed = Text(metadata={"description": "Why it counts no longer, where it does not"})
    lapsed_at = MomentText()


class EndedSchema(StrictSchema):
    """When and by what write an alert ended, by whom, and the reason that was given for it."""

    at = MomentText()
    cause = Text()
    by = Text()
    key = Text(metadata={"description": "Name of the key, where no person was named"})
    reason = Text()


class CoveringSchema(StrictSchema):
    """A recall that would answer an alert."""

    recall = fields.Integer()
    recall_number = Text()


class DraftSchema(StrictSchema):
    """A fault to look at, and then to report; with notes on what to look at."""

    fault = fields.Dict()
    notes = fields.List(Text())


class AlertSchema(StrictSchema):
    """An alert. `good_before` and `followed_by` are null where nothing good is recorded."""

    id = fields.Integer(required=True)
    kind = fields.String(required=True, validate=validate.OneOf(KINDS))
    state = fields.String(
        required=True,
        validate=validate.OneOf(STATES),
        metadata={"description": "ended: what raised it was corrected, withdrawn or voided"},
    )
    item = Text(required=True)
    says = Text(required=True, metadata={"description": "What happened, in a sentence"})
    at = MomentText(metadata={"description": "When it failed, or was first used overdue"})
    until = MomentText(metadata={"description": "Of an overdue item: its last use"})
    uses = WholeNumber(metadata={"description": "Of an overdue item: how many uses there are"})
    raised_by = fields.Nested(RaisedBySchema)
    good_before = fields.Nested(EvidenceSchema, allow_none=True)
    good_evidence_followed = fields.Boolean(
        metadata={
            "description": "Whether the next evidence after it was good. It clears nothing that "
            "was measured between the last good evidence and the failure"
        }
    )
    followed_by = fields.Nested(EvidenceSchema, allow_none=True)
    raised_at = MomentText()
    changed_at = MomentText()
    ended = fields.Nested(EndedSchema)
    answers = fields.List(fields.Nested(AlertAnswerSchema))
    links = fields.Dict(keys=fields.String(), values=fields.String())
    used_by = fields.List(
        fields.Nested(EvidenceSchema), metadata={"description": "The first hundred of the uses"}
    )
    together = fields.List(
        fields.Integer(),
        metadata={
            "description": "Other alerts of the same failure: of this item, and nothing good is "
            "recorded between them"
        },
    )
    covered_by = fields.List(
        fields.Nested(CoveringSchema),
        metadata={
            "description": "Stored recalls of the item whose window begins before the "
            "failure and holds every use of the item until good evidence follows; or that "
            "corrected what failed and list every use around it"
        },
    )
    draft = fields.Nested(DraftSchema, metadata={"description": "Only in a single answer"})
    caution = Text()


class ReachSchema(StrictSchema):
    """What the drafted fault would reach today; nothing is stored."""

    fault = fields.Dict()
    window = fields.Dict()
    summary = fields.Dict()
    notes = fields.List(fields.Raw())


def _of_recall_or_reason(data: dict[str, Any]) -> None:
    if "recall" not in data and "reason" not in data:
        error = refuse(
            "neither a recall nor a reason", "name the recall of the fault, or say why it is none"
        )
        raise ValidationError(error.messages, "reason")


class NewAlertAnswerSchema(StrictSchema):
    """The recall of the fault, or why no fault is to be reported; and who says so.

    The window of the recall begins before the failure and holds every use of the item, or of an
    assembly that held it, until good evidence follows; or it is the recall that corrected what
    failed, and lists every such use from the good evidence before until the next.
    """

    recall = fields.Integer(strict=True, validate=validate.Range(1, 2**63 - 1))
    reason = Text(lines=True)
    by = Text(required=True, max_length=200, metadata={"description": "Name of the person"})
    together = fields.Boolean(
        load_default=False,
        truthy={True},
        falsy={False},
        metadata={"description": "Answer the open alerts of the same failure, too"},
    )

    @validates_schema
    def _answers(self, data: dict[str, Any], **kwargs: Any) -> None:
        _of_recall_or_reason(data)


class AnswerByFilterSchema(StrictSchema):
    """One answer for all open alerts that pass a filter."""

    filter = fields.Nested(AlertFilterSchema, required=True)
    count = WholeNumber(
        required=True,
        metadata={
            "description": "How many alerts are meant; if there are more or fewer (409), nothing "
            "is stored"
        },
    )
    recall = fields.Integer(strict=True, validate=validate.Range(1, 2**63 - 1))
    reason = Text(lines=True)
    by = Text(required=True, max_length=200, metadata={"description": "Name of the person"})

    @validates_schema
    def _answers(self, data: dict[str, Any], **kwargs: Any) -> None:
        _of_recall_or_reason(data)


class AnsweredSchema(StrictSchema):
    """How many alerts were answered by one answer."""

    answered = WholeNumber()
