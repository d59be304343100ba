"""JSON in and out; the rules of RFC 8259 that leave a choice (sections 4, 6, 8.2, 9), read."""

from __future__ import annotations

import json
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.web.json import MAX_DEPTH, MalformedJson, dumps, loads


def test_a_fraction_keeps_its_own_digits():
    assert loads('{"U": 0.00400}')["U"].as_tuple() == Decimal("0.00400").as_tuple()


def test_a_number_that_binary_floats_cannot_hold_comes_through_unchanged():
    text = "0.1000000000000000055511151231257827"
    assert str(loads(text)) == text


def test_a_whole_number_stays_a_whole_number():
    assert loads("[12345678901234567890]") == [12345678901234567890]


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity", '{"a": [NaN]}'])
def test_what_is_not_a_json_number_is_refused(text):
    with pytest.raises(MalformedJson, match="is not a JSON number"):
        loads(text)


def test_the_same_key_twice_in_one_object_is_refused_with_its_name():
    with pytest.raises(MalformedJson, match="'item' stands twice"):
        loads('{"uses": [{"item": 1, "item": 2}]}')


def test_the_same_key_in_two_objects_is_accepted():
    assert loads('[{"item": 1}, {"item": 2}]') == [{"item": 1}, {"item": 2}]


@pytest.mark.parametrize(("opening", "closing"), [("[", "]"), ('{"a":', "}")])
def test_nesting_is_accepted_up_to_the_limit_and_refused_beyond_it(opening, closing):
    loads(opening * MAX_DEPTH + "1" + closing * MAX_DEPTH)
    with pytest.raises(MalformedJson, match="nested deeper"):
        loads(opening * (MAX_DEPTH + 1) + "1" + closing * (MAX_DEPTH + 1))


def test_nesting_beyond_the_interpreters_own_limit_is_refused_too():
    with pytest.raises(MalformedJson, match="nested deeper"):
        loads("[" * 200_000)


def test_a_wide_document_is_not_taken_for_a_deep_one():
    assert len(loads("[" + ",".join(["[]"] * 1000) + "]")) == 1000


def test_brackets_within_a_text_are_not_nesting():
    assert loads('"' + "[" * 1000 + '"') == "[" * 1000


NUMBERS = ["1" * 5000, "1e99999999999999999999", "1e1000", "1E-1000"]
TEXTS = [b'"\xff"', "{", "", "[1] 2", r'"\u0000"', r'"\ud800"']


@pytest.mark.parametrize("text", [*NUMBERS, *TEXTS])
def test_what_has_no_meaning_or_cannot_be_stored_is_refused(text):
    with pytest.raises(MalformedJson):
        loads(text)


def test_an_escaped_surrogate_pair_is_one_character():
    assert loads(r'"\ud83d\ude00"') == "\U0001f600"


def test_a_backslash_before_u0000_is_plain_text():
    assert loads(r'"\\u0000"') == r"\u0000"


def test_a_byte_order_mark_is_skipped():
    assert loads(b'\xef\xbb\xbf{"a": 1}') == {"a": 1}


def test_a_syntax_error_says_where():
    with pytest.raises(MalformedJson, match=r"line 2, column 1"):
        loads('{"a": 1,\n}')


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Decimal("1.2300"), b'"1.2300"'),
        (Decimal("1E+3"), b'"1000"'),
        (Decimal("1E-7"), b'"0.0000001"'),
        (Decimal("NaN"), b"null"),
        (Decimal("-Infinity"), b"null"),
        (10**30, b'"1000000000000000000000000000000"'),
        (
            {"a": [2**64, 2**64 - 1, True]},
            b'{"a":["18446744073709551616","18446744073709551615",true]}',
        ),
        (float("nan"), b"null"),
        (float("inf"), b"null"),
        (np.float64("nan"), b"null"),
        (np.float64(0.25), b"0.25"),
        ({"verdict": 1, "a": 2}, b'{"verdict":1,"a":2}'),
    ],
)
def test_values_go_out_plain_finite_and_in_their_order(value, text):
    assert dumps(value) == text


def test_a_value_without_json_form_is_an_error():
    with pytest.raises(TypeError):
        dumps({"a": object()})


_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text("abc"), inner, max_size=4),
    max_leaves=20,
)


@given(_VALUES)
def test_what_went_out_comes_back_the_same(value):
    assert loads(dumps(value)) == value == json.loads(dumps(value))


def test_flask_answers_through_this_provider(app):
    with app.test_request_context():
        response = app.json.response({"U": Decimal("0.10"), "a": 1})
    assert response.get_data() == b'{"U":"0.10","a":1}'
    assert response.mimetype == "application/json"
