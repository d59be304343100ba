"""What is done about certificates of a recall."""

from __future__ import annotations

from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.schemas.base import StrictSchema
from api.schemas.calibrations import MAX_REVISION
from api.schemas.fields import DecimalText, MomentText, Text, WholeNumber, at_least, refuse

ACTIONS = ("withdraw", "reissue", "recalibrate_free", "no_action")
NARROWING = ("customer", "item", "generation", "min_shift_over_U")
DISPOSABLE = ("affected", "indeterminate", "exposed_zero_effect", "cannot_be_excluded")


class CertificateNameSchema(StrictSchema):
    """One certificate; revision and issuer only where the number alone is not one certificate."""

    certificate = Text(required=True, max_length=200)
    revision = WholeNumber(maximum=MAX_REVISION)
    issuer = Text(max_length=200)


def named(value: Any) -> Any:
    """A number as the name of a certificate."""
    return {"certificate": value} if isinstance(value, str) else value


class DispositionSchema(StrictSchema):
    """One action for certificates that are named, for a list, or for all that pass a filter."""

    action = fields.String(required=True, validate=validate.OneOf(ACTIONS))
    by = Text(required=True, max_length=200, metadata={"description": "Name of the person"})
    justification = Text(
        lines=True, metadata={"description": "Needed for no_action; no customer reads it"}
    )
    reason_for_customer = Text(
        lines=True,
        metadata={
            "description": "Told in the notice; needed for no_action where a verdict becomes or "
            "could become fail, or a statement is made no more. Name nothing that is another "
            "customer's"
        },
    )
    certificates = fields.List(
        fields.Nested(CertificateNameSchema, pre_load=named),
        validate=validate.Length(1, 10_000),
        metadata={"description": "Numbers, or objects with revision and issuer where needed"},
    )
    list = fields.String(validate=validate.OneOf(DISPOSABLE))
    verdict_changes = fields.Boolean(
        allow_none=True,
        truthy={True},
        falsy={False},
        metadata={"description": "With list: only entries that say this; null where unknown"},
    )
    undecided = fields.Boolean(
        load_default=False,
        truthy={True},
        falsy={False},
        metadata={"description": "With list: only certificates without a disposition"},
    )

    customer = Text(metadata={"description": "With list: only those of this customer"})
    item = Text(metadata={"description": "With list: only those of this item"})
    generation = fields.Integer(
        validate=validate.Range(0, 2**31 - 1), metadata={"description": "With list: only these"}
    )
    min_shift_over_U = DecimalText(
        validate=at_least(0), metadata={"description": "With list: from this |shift|/U on"}
    )
    count = WholeNumber(
        metadata={
            "description": "How many certificates are meant, needed with a filter by customer, "
            "item, generation or shift; if there are more or fewer (409), nothing is stored"
        }
    )

    @validates_schema
    def _named_or_of_a_list(self, data: dict[str, Any], **kwargs: Any) -> None:
        if ("certificates" in data) == ("list" in data):
            error = refuse("one of certificates and list is needed", "name them, or a list")
            raise ValidationError(error.messages, "certificates")
        for name in ("verdict_changes", "undecided", *NARROWING):
            if "certificates" in data and data.get(name, False) is not False:
                error = refuse("it filters a list", "leave it out, or send list")
                raise ValidationError(error.messages, name)

    @validates_schema
    def _a_filter_is_confirmed(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "list" in data and "count" not in data and any(name in data for name in NARROWING):
            error = refuse("a filter needs the count of what passes it", "look, and send it")
            raise ValidationError(error.messages, "count")

    @validates_schema
    def _nothing_done_is_justified(self, data: dict[str, Any], **kwargs: Any) -> None:
        if data.get("action") == "no_action" and "justification" not in data:
            error = refuse("no action needs a justification", "say why none is needed")
            raise ValidationError(error.messages, "justification")


class DispositionQuerySchema(StrictSchema):
    """Filters of the dispositions of a recall."""

    certificate = Text(max_length=200)
    action = fields.String(validate=validate.OneOf(ACTIONS))
    history = fields.Boolean(
        load_default=False, metadata={"description": "Earlier dispositions too"}
    )


class DispositionAnswerSchema(StrictSchema):
    """A disposition of one certificate."""

    certificate = Text()
    revision = WholeNumber()
    issuer = Text()
    class_ = Text(data_key="class", attribute="class")
    action = Text()
    justification = Text()
    reason_for_customer = Text()
    by = Text()
    at = MomentText()


class DispositionsMadeSchema(StrictSchema):
    """How many dispositions were recorded, and how many certificates still lack one."""

    recorded = WholeNumber()
    missing = WholeNumber()
