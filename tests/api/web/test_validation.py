"""Error trees become a flat list of faults with their place."""

from __future__ import annotations

from decimal import Decimal

import pytest
from marshmallow import Schema, ValidationError, fields, validate

from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText
from api.web.validation import SHOWN_LENGTH, issues_of


class UseSchema(StrictSchema):
    weight = DecimalText()
    by_point = fields.Dict(keys=fields.String(), values=DecimalText())


class CalibrationSchema(StrictSchema):
    uses = fields.List(fields.Nested(UseSchema))
    value = DecimalText(required=True)


def issues(schema: Schema, sent: object) -> list[dict[str, str]]:
    try:
        schema.load(sent)
    except ValidationError as error:
        return issues_of({"json": error.messages}, error)
    raise AssertionError("nothing was refused")


def test_a_fault_deep_in_the_body_gets_a_json_pointer_remedy_and_value():
    sent = {"value": "1", "uses": [{}, {"weight": "heavy"}]}
    assert issues(CalibrationSchema(), sent) == [
        {
            "pointer": "/uses/1/weight",
            "detail": "not a decimal number",
            "remedy": 'send digits with a point, such as "10.015"',
            "value": "heavy",
        }
    ]


def test_a_missing_field_is_pointed_at_even_when_it_is_called_value():
    assert issues(CalibrationSchema(), {})[0]["pointer"] == "/value"


def test_a_fault_in_a_mapping_points_at_its_key_only():
    sent = {"value": "1", "uses": [{"by_point": {"10 kN/a": "x"}}]}
    assert issues(CalibrationSchema(), sent)[0]["pointer"] == "/uses/0/by_point/10 kN~1a"


def test_an_unknown_field_is_pointed_at_and_the_known_ones_are_named():
    found = issues(CalibrationSchema(), {"value": "1", "uses": [{"wieght": 1}]})[0]
    assert found["pointer"] == "/uses/0/wieght"
    assert found["remedy"] == "known here: by_point, weight"


def test_a_body_that_is_no_object_is_a_fault_of_the_whole():
    assert issues(CalibrationSchema(), [1])[0]["pointer"] == ""


def test_a_fault_of_a_whole_schema_points_at_its_object():
    found = issues_of({"json": {"limits": {"_schema": ["lower above upper"]}}})
    assert found == [{"pointer": "/limits", "detail": "lower above upper"}]


def test_a_query_parameter_is_named_instead_of_pointed_at():
    found = issues_of({"query": {"limit": ["Not a valid integer."]}})
    assert found[0]["parameter"] == "limit"
    assert "pointer" not in found[0]


def test_a_sentence_of_marshmallow_loses_its_full_stop():
    found = issues_of({"json": {"kind": ["Must be one of: pin, clevis."]}})
    assert found[0]["detail"] == "Must be one of: pin, clevis"


def test_a_long_value_is_shown_shortened_and_a_structure_not_at_all():
    long = issues(CalibrationSchema(), {"value": "x" * 5000})[0]
    assert len(long["value"]) == SHOWN_LENGTH + 1
    assert "value" not in issues(CalibrationSchema(), {"value": [1]})[0]


def test_a_number_with_a_huge_exponent_is_shown_as_it_was_sent():
    found = issues(CalibrationSchema(), {"value": Decimal("1E+9999")})[0]
    assert found["value"] == "1E+9999"


@pytest.mark.parametrize(
    ("sentence", "detail", "remedy"),
    [
        (validate.Length(min=1), "fewer than 1", "send 1 or more"),
        (validate.Length(max=2), "more than 2", "send 2 at most"),
        (validate.Length(2, 3), "not between 2 and 3", "send between 2 and 3"),
        (validate.Length(equal=2), "not 2", "send 2"),
    ],
)
def test_a_length_has_its_remedy(sentence, detail, remedy):
    class Sent(Schema):
        names = fields.List(fields.Integer(), validate=sentence)

    with pytest.raises(ValidationError) as caught:
        Sent().load({"names": [1, 2, 3, 4] if sentence.max or sentence.equal else []})
    (found,) = issues_of({"json": caught.value.messages})
    assert (found["pointer"], found["detail"], found["remedy"]) == ("/names", detail, remedy)
