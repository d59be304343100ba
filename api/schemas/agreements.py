"""An agreement with a customer: rule and specification, what it is for, from when, by whom."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.schemas.base import StrictSchema
from api.schemas.fields import MomentText, Text, refuse

SUBJECTS = ("order", "item", "type")


class VersionedReferenceSchema(StrictSchema):
    """A recorded version of a rule or specification."""

    id = Text(required=True, max_length=200)
    version = fields.Integer(
        strict=True,
        validate=validate.Range(1, 2**31 - 1),
        metadata={"description": "Default: the latest, which is then the one agreed"},
    )


_REFERENCE, _ID = VersionedReferenceSchema(), Text(max_length=200)


class ReferenceField(fields.Field[Any]):
    """The id of a record or {"id", "version"}; loads as the latter."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        if isinstance(value, Mapping):
            return _REFERENCE.load(value)
        return {"id": _ID.deserialize(value)}


class NewAgreementSchema(StrictSchema):
    """An agreement to be recorded; its version is counted by the server."""

    id = Text(required=True, max_length=200)
    customer = Text(required=True, max_length=200)
    order = Text(max_length=200, metadata={"description": "Only for this order of the customer"})
    item = Text(max_length=200, metadata={"description": "Only for this item"})
    type = Text(max_length=200, metadata={"description": "Only for items of this type"})
    rule = ReferenceField(
        required=True, metadata={"description": "Id of a decision rule, or {id, version}"}
    )
    specification = ReferenceField(
        metadata={"description": "Id of a specification, or {id, version}; absent: none agreed"}
    )
    from_ = MomentText(data_key="from", required=True, attribute="from")
    until = MomentText(metadata={"description": "Exclusive; a version with it ends the agreement"})
    agreed_with = Text(max_length=200, metadata={"description": "Who agreed for the customer"})
    by = Text(required=True, max_length=200, metadata={"description": "Who reviewed the contract"})
    note = Text(lines=True)

    @validates_schema
    def _one_subject(self, data: dict[str, Any], **kwargs: Any) -> None:
        named = [name for name in SUBJECTS if name in data]
        if len(named) > 1:
            error = refuse(f"{named[0]} is given too", f"send {' or '.join(named)}, not both")
            raise ValidationError(error.messages, named[1])


class AgreementAnswerSchema(StrictSchema):
    """One version of an agreement as it is answered."""

    id = Text(required=True)
    version = fields.Integer(required=True)
    customer = Text(required=True)
    order = Text()
    item = Text()
    type = Text()
    rule = fields.Nested(VersionedReferenceSchema, required=True)
    specification = fields.Nested(VersionedReferenceSchema)
    from_ = MomentText(data_key="from", required=True, attribute="from")
    until = MomentText()
    agreed_with = Text()
    by = Text(required=True)
    note = Text()
    versions = fields.List(fields.Integer(), metadata={"description": "Only in a single answer"})


class AgreementQuerySchema(StrictSchema):
    """Filters of a list of agreements."""

    customer = Text()
