"""The laboratory as it stands on notices, and what it asks of its certificates."""

from __future__ import annotations

from typing import Any

from marshmallow import fields, validate

from api.schemas.base import StrictSchema
from api.schemas.fields import Text
from api.schemas.vocabulary import ASKED_AT_ISSUE


def _asked() -> fields.Field[Any]:
    return fields.List(
        fields.String(validate=validate.OneOf(ASKED_AT_ISSUE)),
        metadata={"description": "Fields without which it issues no certificate; none by default"},
    )


class LaboratoryChangeSchema(StrictSchema):
    """Name, address, contact, and what is asked for at issue; what is not named stays."""

    name = Text(max_length=200)
    address = Text(lines=True)
    contact = Text(lines=True, metadata={"description": "Person, telephone, e-mail"})
    asked_at_issue = _asked()


class LaboratoryRecordSchema(StrictSchema):
    """What is recorded of the laboratory."""

    name = Text(allow_none=True)
    address = Text(allow_none=True)
    contact = Text(allow_none=True)
    asked_at_issue = _asked()
    time_zone = Text()
