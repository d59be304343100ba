"""The case of a recall: its steps, the resumption of work, and how it is answered."""

from __future__ import annotations

from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.schemas.base import StrictSchema
from api.schemas.dispositions import CertificateNameSchema, named
from api.schemas.fields import MomentText, Text, WholeNumber, refuse
from api.schemas.recalls import Stale

STATES = ("open", "assessed", "notified", "closed")
CORRECTIVE = ("cause", "corrective_action", "effectiveness_review")


class StepSchema(StrictSchema):
    """Who decided, and why."""

    by = Text(required=True, max_length=200, metadata={"description": "Name of the person"})
    reason = Text(required=True, lines=True)


class CaseChangeSchema(StepSchema):
    """The next state of a case."""

    state = fields.String(required=True, validate=validate.OneOf(STATES))


class CorrectiveStepSchema(StrictSchema):
    """A step of corrective action, and what its person found or decided."""

    step = fields.String(
        required=True,
        validate=validate.OneOf(CORRECTIVE),
        metadata={"description": "Each speaks of the one before, which must be recorded"},
    )
    by = Text(required=True, max_length=200, metadata={"description": "Name of the person"})
    text = Text(
        required=True,
        lines=True,
        metadata={"description": "The cause; what is done, or why nothing; what the review found"},
    )
    effective = fields.Boolean(
        truthy={True},
        falsy={False},
        metadata={"description": "For effectiveness_review, and needed there: did it help?"},
    )

    @validates_schema
    def _a_review_says_whether_it_helped(self, data: dict[str, Any], **kwargs: Any) -> None:
        review = data.get("step") == "effectiveness_review"
        if review and "effective" not in data:
            error = refuse("a review says whether the action helped", "send true or false")
            raise ValidationError(error.messages, "effective")
        if not review and "effective" in data:
            error = refuse("only an effectiveness_review says this", "leave it out")
            raise ValidationError(error.messages, "effective")


class CorrectiveAnswerSchema(CorrectiveStepSchema):
    """A step of corrective action that was taken."""

    at = MomentText()


class CorrectiveSchema(StrictSchema):
    """The latest step of each kind, null where none was taken, and all of them."""

    cause = fields.Nested(CorrectiveAnswerSchema, allow_none=True)
    corrective_action = fields.Nested(CorrectiveAnswerSchema, allow_none=True)
    effectiveness_review = fields.Nested(CorrectiveAnswerSchema, allow_none=True)
    history = fields.List(fields.Nested(CorrectiveAnswerSchema))


class NoticeExceptionSchema(StrictSchema):
    """Customers that are sent no notice, or certificates of which nobody is told: who says so, why.

    At least one of `customers` and `certificates`.
    """

    customers = fields.List(Text(max_length=200), validate=validate.Length(1, 10_000))
    certificates = fields.List(
        fields.Nested(CertificateNameSchema, pre_load=named),
        validate=validate.Length(1, 10_000),
        metadata={
            "description": "Without customer and without an owner that is one; numbers, or objects "
            "with revision and issuer where needed"
        },
    )
    by = Text(required=True, max_length=200, metadata={"description": "Name of the person"})
    reason = Text(required=True, lines=True)

    @validates_schema
    def _names_somebody(self, data: dict[str, Any], **_: Any) -> None:
        if not data.keys() & {"customers", "certificates"}:
            raise refuse("customers or certificates are needed", "name who is not told, or of what")


class WithoutCustomerSchema(StrictSchema):
    """A certificate of which nobody knows who is to be told."""

    certificate = Text()
    revision = WholeNumber()


class WithoutCustomersSchema(StrictSchema):
    """Certificates without customer whose item has no owner that is one; no reason stands yet."""

    missing = WholeNumber()
    named = fields.List(
        fields.Nested(WithoutCustomerSchema), metadata={"description": "The first hundred"}
    )


class ExceptionAnswerSchema(StrictSchema):
    """A customer that is sent no notice, or a certificate of which nobody is told."""

    customer = Text()
    certificate = Text()
    revision = WholeNumber()
    by = Text()
    at = MomentText()
    reason = Text()


class ToldOtherwiseSchema(StrictSchema):
    """Customers whose notice was sent before something was decided about their certificates."""

    count = WholeNumber()
    named = fields.List(Text(), metadata={"description": "The first hundred of them"})


class CustomersToldSchema(StrictSchema):
    """How many customers are concerned, and how many of them were told.

    Told is who was delivered the latest of its notices, or acknowledged it.
    """

    concerned = WholeNumber()
    told = WholeNumber()
    missing = WholeNumber(metadata={"description": "Not told, and no reason stands why not"})
    named = fields.List(Text(), metadata={"description": "The first hundred of the missing"})
    told_otherwise = fields.Nested(ToldOtherwiseSchema)
    without_customer = fields.Nested(WithoutCustomersSchema)
    exceptions = fields.List(fields.Nested(ExceptionAnswerSchema))


class StepAnswerSchema(StepSchema):
    """A step that was taken."""

    at = MomentText()


class HistorySchema(StepAnswerSchema):
    """A change of state."""

    from_ = Text(data_key="from", attribute="from")
    to = Text()


class OutstandingCertificateSchema(StrictSchema):
    """A certificate about which something was decided that is not done yet."""

    certificate = Text()
    revision = WholeNumber()
    issuer = Text()
    lacks = fields.String(
        validate=validate.OneOf(("draft", "issue", "void")),
        metadata={
            "description": "draft: no later revision is recorded; issue: one is, as a draft; void: "
            "it is not voided"
        },
    )


class OutstandingActionSchema(StrictSchema):
    """How many certificates remain of one action, and which."""

    remaining = WholeNumber()
    named = fields.List(
        fields.Nested(OutstandingCertificateSchema), metadata={"description": "The first hundred"}
    )


class OutstandingSchema(StrictSchema):
    """What was decided and is still to be done; a case may be closed while it is."""

    reissue = fields.Nested(OutstandingActionSchema)
    withdraw = fields.Nested(OutstandingActionSchema)


class CaseSchema(StrictSchema):
    """Where the handling of a recall stands."""

    recall = fields.Integer()
    number = Text()
    state = fields.String(validate=validate.OneOf(STATES))
    version = WholeNumber()
    assessed_by = Text(allow_none=True)
    resumption = fields.Nested(StepAnswerSchema, allow_none=True)
    history = fields.List(fields.Nested(HistorySchema))
    corrective = fields.Nested(CorrectiveSchema)
    customers = fields.Nested(CustomersToldSchema)
    dispositions = fields.Dict()
    outstanding = fields.Nested(OutstandingSchema)
    notices = fields.Dict()
    stale = Stale(metadata={"description": 'Whether the recall is stale: true, false, "checking"'})
    reopen = fields.Boolean(
        metadata={"description": "Closed, stale, and not looked at again since"}
    )
    looked_at_again = Text(
        allow_none=True,
        metadata={"description": "Number of the look that has taken the place of a stale recall"},
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
