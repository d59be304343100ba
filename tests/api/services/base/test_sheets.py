"""Rows as CSV and XLSX: read again by other readers, they are what went in, and run nothing.

Readers: Python's csv module and openpyxl. What counts as a formula is tested beside that rule.
"""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import datetime
from decimal import Decimal

import openpyxl
import pytest

from api.services.base import sheets
from api.services.base.sheets import LOT, csv_parts, write_xlsx

COLUMNS = ("id", "note", "n")


def csv_of(rows, *, raw=False, columns=COLUMNS) -> str:
    return "".join(csv_parts(columns, rows, raw=raw))


def read(text):
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


def book_of(rows, *, raw=False, columns=COLUMNS):
    file = io.BytesIO()
    write_xlsx(file, "Refused", 86_400_000_000, columns, rows, raw=raw)
    return file, openpyxl.load_workbook(file)


def test_lines_end_in_crlf_and_marks_within_a_cell_are_quoted():
    # RFC 4180, 2.1 (CRLF), 2.6 (commas and line ends in quotation marks), 2.7 (a mark is doubled)
    text = csv_of([["a,b", 'say "x"', 1], ["two\nlines", "", 2]])
    assert text == 'id,note,n\r\n"a,b","say ""x""",1\r\n"two\nlines",,2\r\n'
    assert read(text)[1:] == [["a,b", 'say "x"', "1"], ["two\nlines", "", "2"]]


def test_numbers_keep_sign_and_digits_and_are_no_formulas():
    row = [Decimal("-0.50"), Decimal("1E+2"), -3]
    assert read(csv_of([row]))[1] == ["-0.50", "100", "-3"]


def test_nothing_and_flags_have_words_of_their_own():
    assert read(csv_of([[None, True, False]]))[1] == ["", "true", "false"]


def test_a_formula_gets_an_apostrophe_unless_it_is_wanted_raw():
    row = ["=1+1", "@SUM(A1)", "-860"]
    assert read(csv_of([row]))[1] == ["'=1+1", "'@SUM(A1)", "-860"]
    assert read(csv_of([row], raw=True))[1] == row


def test_long_tables_come_in_parts_that_lose_no_row():
    rows = [[f"I-{place}", "", place] for place in range(2 * LOT + 1)]
    parts = list(csv_parts(COLUMNS, iter(rows), raw=False))
    assert len(parts) == 3
    assert [row[0] for row in read("".join(parts))[1:]] == [row[0] for row in rows]


def test_a_table_without_rows_is_a_heading():
    assert csv_of([]) == "id,note,n\r\n"
    _, book = book_of([])
    assert [[cell.value for cell in row] for row in book["Refused 1"].rows] == [list(COLUMNS)]


def test_a_workbook_holds_texts_as_texts_and_numbers_with_their_places():
    _, book = book_of([["C-1", "=1+1", Decimal("-0.50")], ["7", True, 3]])
    ((_, _, _), (number, note, half), (seven, flag, three)) = book["Refused 1"].rows
    assert (number.value, note.value, note.data_type) == ("C-1", "'=1+1", "s")
    assert (half.value, half.data_type, half.number_format) == (-0.5, "n", "0.00")
    assert (seven.value, seven.data_type) == ("7", "s")  # a number of an item is a name
    assert (flag.value, three.value) == (True, 3)


def test_a_raw_formula_in_a_workbook_is_text_too():
    file, book = book_of([["=1+1", "", 0]], raw=True)
    cell = book["Refused 1"]["A2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")
    with zipfile.ZipFile(file) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml")
    assert b"<f>" not in sheet


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        ("0.123456789012345", "n"),  # 15 digits: binary64 gives them back (IEEE 754, DBL_DIG)
        ("0.1234567890123456", "s"),
        ("12345678901234567890", "s"),
        ("100", "n"),
    ],
)
def test_a_number_of_more_digits_than_binary64_keeps_is_text(number, kind):
    _, book = book_of([[Decimal(number), "", 0]])
    cell = book["Refused 1"]["A2"]
    assert cell.data_type == kind
    assert Decimal(str(cell.value)) == Decimal(number)


def test_characters_that_xml_does_not_allow_leave_the_workbook_readable():
    # XML 1.0, 2.2: neither U+FFFE nor U+FFFF is a character; U+FFFD stands for what is lost.
    _, book = book_of([["a\ufffeb\uffffc", "", 0]])
    assert book["Refused 1"]["A2"].value == "a\ufffdb\ufffdc"


def test_a_further_sheet_begins_where_one_is_full_and_has_the_heading(monkeypatch):
    monkeypatch.setattr(sheets, "ROWS_A_SHEET", 2)
    _, book = book_of([[f"I-{place}", "", place] for place in range(5)])
    assert book.sheetnames == ["Refused 1", "Refused 2", "Refused 3"]
    firsts = [[row[0].value for row in sheet.rows] for sheet in book]
    assert firsts == [["id", "I-0", "I-1"], ["id", "I-2", "I-3"], ["id", "I-4"]]
    assert {sheet.freeze_panes for sheet in book} == {"A2"}


def test_a_workbook_says_what_it_is_and_when_it_was_made():
    _, book = book_of([])
    properties = book.properties
    # 86,400 s behind the epoch is one day
    assert (properties.title, properties.created) == ("Refused", datetime(1970, 1, 2))  # noqa: DTZ001
