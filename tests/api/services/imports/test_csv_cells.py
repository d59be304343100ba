"""Cells become what JSON would hold; what a mapping does not allow is refused with a remedy."""

from __future__ import annotations

from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from api.services.imports.csv_cells import ABSENT, CellFault, Reader

VIENNA = {"zone": ZoneInfo("Europe/Vienna"), "format": ["%d.%m.%Y %H:%M", "%d.%m.%Y", "iso"]}


def read(kind, text, **options):
    return Reader("f", kind, (0,), options).read([text])


def refused(kind, text, **options):
    with pytest.raises(CellFault) as found:
        read(kind, text, **options)
    assert found.value.remedy
    return found.value.reason


@pytest.mark.parametrize(
    ("text", "options", "expected"),
    [
        ("10.0120", {}, "10.0120"),
        ("-860", {}, "-860"),
        ("\N{MINUS SIGN}0,5", {"decimal": ","}, "-0.5"),
        ("1.234,50", {"decimal": ",", "thousands": "."}, "1234.50"),
        ("1 234 567", {"thousands": " "}, "1234567"),
        ("12.5 kN", {"suffix": "kN"}, "12.5"),
        ("0,05%", {"decimal": ",", "suffix": "%"}, "0.05"),
        # 0.1234567890123456789 x 0.001, by hand: the digits stay, the point moves.
        ("0.1234567890123456789", {"scale": Decimal("0.001")}, "0.0001234567890123456789"),
        ("0.10", {"scale": Decimal(1000)}, "100.00"),
        ("1E-05", {}, "1E-05"),
        # What is no number at all is left to the schema of the record, which refuses it.
        ("about ten", {}, "about ten"),
    ],
)
def test_numbers_keep_their_digits(text, options, expected):
    assert read("decimal", text, **options) == expected


@pytest.mark.parametrize(
    ("text", "options"),
    [
        ("10,012", {}),
        ("10.012", {"decimal": ","}),
        ("12,34.5", {"thousands": ","}),
        ("1,2345", {"thousands": ","}),
    ],
)
def test_a_mark_that_the_mapping_reads_otherwise_is_refused_and_not_guessed(text, options):
    assert refused("decimal", text, **options)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Vienna: summer time +02:00 until 26 October 2025 at 03:00, then +01:00 (tz database).
        ("10.03.2025 16:00", "2025-03-10T16:00:00+01:00"),
        ("1.7.2025 08:30", "2025-07-01T08:30:00+02:00"),
        ("10.03.2025", "2025-03-10"),
        ("2025-03-10", "2025-03-10"),
        ("2025-03-10T16:00:00Z", "2025-03-10T16:00:00Z"),
        ("2025-03-10 16:00", "2025-03-10T16:00:00+01:00"),
    ],
)
def test_dates_and_times_are_read_in_the_forms_and_the_zone_of_the_mapping(text, expected):
    assert read("moment", text, **VIENNA) == expected


def test_an_hour_that_came_twice_or_not_at_all_is_refused():
    assert "came twice" in refused("moment", "26.10.2025 02:30", **VIENNA)
    assert "left out" in refused("moment", "30.03.2025 02:30", **VIENNA)
    at = "2025-10-26T02:30:00+01:00"
    assert read("moment", at, **VIENNA) == at


def test_a_date_of_another_form_or_a_time_without_zone_is_refused():
    assert "%d.%m.%Y" in refused("moment", "03/10/2025", **VIENNA)
    assert "31.02.2025" not in refused("moment", "31.02.2025", **VIENNA)
    assert "zone" in refused("moment", "10.03.2025 16:00", format=["%d.%m.%Y %H:%M"])


def test_a_form_with_an_offset_needs_no_zone():
    form = {"format": ["%d.%m.%Y %H:%M %z"]}
    assert read("moment", "10.03.2025 16:00 +0530", **form) == "2025-03-10T16:00:00+05:30"


@pytest.mark.parametrize(
    ("kind", "text", "options", "expected"),
    [
        ("flag", "YES", {}, True),
        ("flag", "n", {"values": {"y": True, "n": False}}, False),
        ("whole", "12 000", {"thousands": " "}, 12000),
        ("point", "7", {}, 7),
        ("point", "07", {}, "07"),
        ("point", "0", {}, 0),
        ("text", "=1+1", {}, "=1+1"),
        ("text", "Pass", {"values": {"Pass": "pass"}}, "pass"),
        ("text", "OK", {"values": {"Pass": "pass"}, "others": "keep"}, "OK"),
        ("list", "A | B|", {"split": "|"}, ["A", "B"]),
        ("list", "A|B", {}, ["A|B"]),
        ("points", "1;2;x", {"split": ";"}, [1, 2, "x"]),
        ("covers", "full range", {"split": ";"}, "full range"),
        ("covers", "50 kN;20 kN", {"split": ";"}, ["50 kN", "20 kN"]),
        ("weight", "0,5", {"decimal": ","}, "0.5"),
        ("weight", "1=0,4 | 2=0,6", {"decimal": ",", "split": "|"}, {"1": "0.4", "2": "0.6"}),
        ("tolerance", "0,05", {"decimal": ","}, "0.05"),
        ("tolerance", "ISO 376 class 1, tension", {}, "ISO 376 class 1, tension"),
        ("tolerance", "PLATE-7", {"scale": Decimal(10)}, "PLATE-7"),
    ],
)
def test_each_kind_of_field_has_its_form(kind, text, options, expected):
    found = read(kind, text, **options)
    assert (found, type(found)) == (expected, type(expected))


@pytest.mark.parametrize(
    ("kind", "text", "options"),
    [
        ("flag", "maybe", {}),
        ("whole", "1.5", {}),
        ("text", "OK", {"values": {"Pass": "pass"}}),
        ("weight", "1=0.5|2", {"split": "|"}),
        ("tolerance", "0,05", {}),
    ],
)
def test_what_has_no_form_is_refused(kind, text, options):
    assert refused(kind, text, **options)


def test_an_empty_cell_is_no_value_unless_the_mapping_gives_one():
    assert read("text", "") is ABSENT
    assert read("text", "n/a", empty=["n/a", "-"]) is ABSENT
    assert read("whole", "", default=0) == 0
    assert read("text", "none", values={"none": None}) is ABSENT


def test_columns_may_be_joined_and_a_constant_needs_none():
    both = Reader("f", "moment", (0, 1), {"format": ["%d.%m.%Y %H:%M"], "zone": ZoneInfo("UTC")})
    assert both.read(["10.03.2025", "16:00"]) == "2025-03-10T16:00:00+00:00"
    assert Reader("f", "text", (), {"value": "kN"}).read(["x"]) == "kN"
