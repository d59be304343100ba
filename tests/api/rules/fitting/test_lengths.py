"""Lengths as text, exactly. 25.4 mm to the inch: NIST SP 811:2008, appendix B (from memory)."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.fitting.lengths import LENGTH_UNITS, UnreadableLength, parse_length


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1 in", "25.4"),
        ("2 in", "50.8"),
        ("2in", "50.8"),
        ("1 ft", "304.8"),
        ("50.8 mm", "50.8"),
        ("5.08 cm", "50.8"),
        ("0.0508 m", "50.8"),
        ("2 1/4 in", "57.15"),
        ("2-1/4 in", "57.15"),
        ("3/8 in", "9.525"),
        (" 50 mm ", "50"),
        ("0 mm", "0"),
    ],
)
def test_a_length_is_exact_in_millimetres(text, mm):
    assert parse_length(text).mm == Fraction(mm)


def test_two_inches_are_not_fifty_millimetres():
    assert parse_length("2 in").mm - parse_length("50 mm").mm == Fraction("0.8")


@pytest.mark.parametrize(
    "text",
    [
        *("50", "mm", "", "2 inch", '2"', "2'", "-2 in", "+2 in", "2 1/0 in", "1/2/3 in"),
        *(
            "2,5 mm",
            "1e3 mm",
            "nan mm",
            "2 in in",
            "5 kN",
            "2 . 5 mm",
            "2 0.5 in",
            "1" * 70 + " mm",
        ),
        *(50, 50.8, None, True, ["2 in"]),
    ],
)
def test_what_is_no_length_is_refused_with_what_to_write(text):
    with pytest.raises(UnreadableLength, match=r"write|use one of|check"):
        parse_length(text)


@given(
    st.decimals(min_value=0, max_value=10_000, places=4, allow_nan=False),
    st.sampled_from(LENGTH_UNITS),
)
def test_the_number_scales_with_its_unit(number, unit):
    assert parse_length(f"{number:f} {unit}").mm == Fraction(number) * parse_length(f"1 {unit}").mm
