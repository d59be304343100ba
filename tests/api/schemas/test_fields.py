"""Fields keep digits, zones and text, and refuse with a remedy."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError

from api.schemas.fields import (
    Complaint,
    DecimalText,
    Flag,
    FreeObject,
    MomentText,
    Text,
    WholeNumber,
)


def complaint(field, value) -> Complaint:
    with pytest.raises(ValidationError) as refused:
        field.deserialize(value)
    (message,) = refused.value.messages
    assert isinstance(message, Complaint)
    return message


@pytest.mark.parametrize(
    ("sent", "digits"),
    [
        ("10.0150", "10.0150"),
        ("-0.5", "-0.5"),
        ("+1.", "1"),
        (".5", "0.5"),
        ("1E+3", "1E+3"),
        (12, "12"),
        (Decimal("0.10"), "0.10"),
        ("9" * 60, "9" * 60),
        ("1e-60", "1E-60"),
    ],
)
def test_a_decimal_keeps_the_digits_that_were_sent(sent, digits):
    assert DecimalText().deserialize(sent).as_tuple() == Decimal(digits).as_tuple()


NO_NUMBERS = ["0x10", "١", "1e", "--1", Decimal("NaN"), Decimal("sNaN"), Decimal("Infinity")]


@pytest.mark.parametrize(
    "sent",
    [
        *NO_NUMBERS,
        1.5,
        True,
        False,
        None,
        [],
        {},
        "",
        " 1",
        "1 ",
        "1,5",
        "1_000",
        "NaN",
        "inf",
        "-Infinity",
    ],
)
def test_what_is_not_a_plain_decimal_is_refused(sent):
    with pytest.raises(ValidationError):
        DecimalText(allow_none=False).deserialize(sent)


@pytest.mark.parametrize(
    "sent", ["1" * 61, "1." + "1" * 60, "1e61", "1e-61", "1e999999999", 10**60]
)
def test_a_decimal_beyond_digits_or_exponent_is_refused(sent):
    assert complaint(DecimalText(), sent).remedy


def test_a_decimal_goes_out_in_plain_notation_and_infinity_as_null():
    assert DecimalText().serialize("x", {"x": Decimal("1E+3")}) == "1000"
    assert DecimalText().serialize("x", {"x": Decimal("Infinity")}) is None
    assert DecimalText().serialize("x", {"x": None}) is None


@given(
    st.decimals(
        allow_nan=False, allow_infinity=False, places=12, min_value=-(10**20), max_value=10**20
    )
)
def test_a_decimal_survives_going_out_and_coming_in(number):
    field = DecimalText()
    back = field.deserialize(field.serialize("x", {"x": number}))
    assert back.as_tuple() == number.as_tuple()


@pytest.mark.parametrize(
    "sent",
    [
        "2025-03-10",
        "2024-02-29",
        "2025-03-10T16:00:00Z",
        "2025-03-10T16:00:00.123456+01:00",
        "2025-03-10T16:00:00-00:30",
    ],
)
def test_a_date_or_an_instant_comes_back_as_the_text_that_was_sent(sent):
    assert MomentText().deserialize(sent) == sent


def test_an_instant_without_zone_is_refused_and_the_remedy_says_how_to_mend_it():
    message = complaint(MomentText(), "2025-03-10T16:00:00")
    assert "2025-03-10T16:00:00" in message
    assert "has no time zone" in message
    assert message.remedy.startswith("add Z or an offset")


@pytest.mark.parametrize(
    "sent",
    [
        "2025-02-29",
        "2025-13-01",
        "2025-03-10T25:00:00Z",
        "2025-03-10T16:00:60Z",
        "2025-03-10T16:00:00.1234567Z",
        "2025-03-10T16:00:00+25:00",
        "10.03.2025",
        "2025-3-1",
        "20250310",
        "yesterday",
        "",
        20250310,
        None,
        "2" * 500,
    ],
)
def test_an_impossible_or_unclear_date_is_refused(sent):
    with pytest.raises(ValidationError):
        MomentText().deserialize(sent)


@pytest.mark.parametrize("sent", ["WS-20", "Prüfstand 3", "a" * 2000, "力 10 kN", " a "])
def test_text_comes_through_unchanged(sent):
    assert Text().deserialize(sent) == sent


@pytest.mark.parametrize(
    "sent", ["", "   ", "a" * 2001, "a\x00b", "a\nb", "a\x1b[1m", "\ud800", 7, None]
)
def test_empty_long_or_unprintable_text_is_refused(sent):
    with pytest.raises(ValidationError):
        Text().deserialize(sent)


def test_a_remark_may_have_lines_but_no_other_control_characters():
    assert Text(lines=True).deserialize("first\nsecond\tx") == "first\nsecond\tx"
    assert "control characters" in complaint(Text(lines=True), "a\x07b")


@pytest.mark.parametrize("sent", [0, 1, 2**53 - 1])
def test_a_whole_number_comes_through(sent):
    assert WholeNumber().deserialize(sent) == sent


@pytest.mark.parametrize("sent", [-1, 2**53, True, "1", Decimal("1.0"), 1.0])
def test_what_is_not_a_whole_number_in_range_is_refused(sent):
    assert complaint(WholeNumber(), sent).remedy


def test_a_free_object_keeps_its_content_and_its_decimals_as_text():
    sent = {
        "mass": Decimal("1.50"),
        "serial": 10**22,
        "tags": ["a", {"n": Decimal("1E+2")}],
        "b": 1,
    }
    assert FreeObject().deserialize(sent) == {
        "mass": "1.50",
        "serial": "10000000000000000000000",
        "tags": ["a", {"n": "100"}],
        "b": 1,
    }


@pytest.mark.parametrize("sent", [[], "x", 1, None])
def test_a_free_object_is_an_object(sent):
    with pytest.raises(ValidationError):
        FreeObject().deserialize(sent)


def test_a_bound_of_a_decimal_is_documented_as_text():
    assert DecimalText().serialize("x", {"x": 0}) == "0"


@pytest.mark.parametrize("sent", ["yes", "true", "0", 0, 1, 2, -1, 1.0, []])
def test_a_flag_is_true_or_false_and_nothing_that_could_mean_it(sent):
    assert complaint(Flag(), sent).remedy
    assert [Flag().deserialize(one) for one in (True, False)] == [True, False]
