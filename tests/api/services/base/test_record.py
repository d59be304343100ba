"""Two records are the same by their digest: what is said counts, not how it was laid out."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.services.base.record import digest


def test_absent_and_null_are_one_record_and_key_order_does_not_matter():
    assert digest({"a": "1", "b": None}) == digest({"a": "1"})
    assert digest({"a": "1", "b": {"c": None, "d": [1]}}) == digest({"b": {"d": [1]}, "a": "1"})


def test_digits_are_part_of_a_record_and_the_order_of_a_list_too():
    assert digest({"a": Decimal("1.20")}) == digest({"a": "1.20"})
    assert digest({"a": Decimal("1.20")}) != digest({"a": Decimal("1.2")})
    assert digest({"a": [1, 2]}) != digest({"a": [2, 1]})


def test_what_does_not_belong_in_a_record_is_an_error():
    with pytest.raises(TypeError, match="object"):
        digest({"a": object()})


@pytest.mark.parametrize(
    ("record", "expected"),
    # printf '{"a": "1.20"}' | sha256sum, and the same with "Söhne", in UTF-8
    [
        (
            {"a": Decimal("1.20")},
            "7b0cc2b583f42c348aa53ba373ec3fdc16ced3cc45a6f6a82f44d1898bd58e9e",
        ),
        (
            {"a": "Söhne", "b": None},
            "00b6f3d9aa96a1cd0e57f60a40d375a8d4019d319a373d35c618707226c0bafa",
        ),
    ],
)
def test_a_digest_is_that_of_another_program_and_will_be_the_same_in_years(record, expected):
    assert digest(record) == expected


def test_a_null_in_a_list_is_a_place_and_stays_one():
    assert digest({"a": [1, None]}) != digest({"a": [1]})
    assert digest({"a": (1, None)}) == digest({"a": [1, None]})


def test_a_number_and_its_text_differ_where_the_number_is_whole_and_no_decimal():
    assert digest({"a": 1}) != digest({"a": "1"})
    assert digest({"a": Decimal("1E+2")}) == digest({"a": "100"})
