"""The laboratory as it stands on notices."""

from __future__ import annotations

from api.schemas.base import StrictSchema
from api.schemas.fields import Text


class LaboratoryChangeSchema(StrictSchema):
    """Name, address and contact; what is not named stays."""

    name = Text(max_length=200)
    address = Text(lines=True)
    contact = Text(lines=True, metadata={"description": "Person, telephone, e-mail"})


class LaboratoryRecordSchema(StrictSchema):
    """What is recorded of the laboratory."""

    name = Text(allow_none=True)
    address = Text(allow_none=True)
    contact = Text(allow_none=True)
    time_zone = Text()
