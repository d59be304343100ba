"""Unknown fields are refused, remarks are kept."""

from __future__ import annotations

import pytest
from marshmallow import ValidationError

from api.schemas.base import AnnotatedSchema, StrictSchema
from api.schemas.fields import Text


class PinSchema(AnnotatedSchema):
    id = Text(required=True)


def test_an_unknown_field_is_refused_and_the_known_ones_are_named():
    with pytest.raises(ValidationError) as refused:
        PinSchema().load({"id": "PIN-7A", "wight": 1})
    (message,) = refused.value.messages["wight"]
    assert message == "unknown field"
    assert message.remedy == "known here: amendment, id, meaning, note, title"


def test_remarks_are_kept_as_text():
    sent = {
        "id": "PIN-7A",
        "note": "worn\nsee photo",
        "title": "t",
        "meaning": "m",
        "amendment": "a",
    }
    assert PinSchema().load(sent) == sent


def test_what_is_not_an_object_is_refused():
    with pytest.raises(ValidationError, match="not a JSON object"):
        StrictSchema().load("x")
