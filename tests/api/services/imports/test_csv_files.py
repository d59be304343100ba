"""A CSV file row by row: RFC 4180 as Python's csv module writes it, and what no file may be."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.services.imports.csv_files import CsvFile, UnreadableFile

HEADING = b"id,note\r\n"


def file(data: bytes, **form) -> CsvFile:
    return CsvFile("items.csv", io.BytesIO(data), **form)


def rows(data: bytes, width: int = 2, **form):
    return list(file(data, **form).rows(width))


def read(made: CsvFile):
    return made.heading(), list(made.rows(2))


def refused(data: bytes, **form):
    """What is wrong with a file, where, and what to do."""
    with pytest.raises(UnreadableFile, match=r"^items\.csv") as found:
        read(file(data, **form))
    (issue,) = found.value.issues
    assert issue.at.pop("file") == "items.csv"
    assert issue.remedy
    return issue.detail, issue.at, issue.remedy


def test_rows_have_the_number_of_a_spreadsheet_and_the_line_they_begin_on():
    # RFC 4180, 2.6: a line end within quotation marks is part of a cell
    found = rows(HEADING + b'A,"two\r\nlines"\r\n\r\nB,"say ""x"""\r\nC,last')
    assert [(one.number, one.line) for one in found] == [(2, 2), (4, 5), (5, 6)]
    assert [list(one.cells) for one in found] == [
        ["A", "two\r\nlines"],
        ["B", 'say "x"'],
        ["C", "last"],
    ]


cells = st.text(
    st.characters(codec="utf-8", exclude_characters="\0\r", exclude_categories=["Cs"]), max_size=6
).map(str.strip)


@given(
    st.lists(st.lists(cells, min_size=2, max_size=2).filter(any), max_size=8),
    st.sampled_from(",;\t|"),
)
@settings(deadline=None, max_examples=80)
def test_what_the_csv_module_writes_is_read_back(table, separator):
    sink = io.StringIO(newline="")
    csv.writer(sink, delimiter=separator).writerows([["id", "note"], *table])
    made = file(sink.getvalue().encode(), separator=separator)
    assert made.heading() == ["id", "note"]
    for _ in range(2):  # as often as need be
        assert [list(one.cells) for one in made.rows(2)] == table


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_byte_order_mark_is_no_part_of_the_first_name(mark):
    made = file(mark + HEADING + b"S\xc3\xb6hne,x\r\n")
    assert made.heading() == ["id", "note"]
    assert [one.cells[0] for one in made.rows(2)] == ["Söhne"]


def test_spaces_around_cells_and_empty_rows_and_columns_behind_the_last_name_go():
    made = file(b" id , note ,,\r\n , ,\r\n A\t, =1+1 \r\n")
    assert made.heading() == ["id", "note"]
    # What a cell begins with is data.
    assert [list(one.cells) for one in made.rows(2)] == [["A", "=1+1"]]


def test_rows_above_the_heading_are_not_read_as_records():
    data = b"List of standards\r\n\r\nid,note\r\nA,x\r\n"
    made = file(data, heading_row=3)
    assert made.heading() == ["id", "note"]
    assert [one.number for one in made.rows(2)] == [4]


def test_a_row_of_a_wrong_length_comes_with_its_fault():
    found = rows(HEADING + b"A\r\nB,b,,\r\nC,c,more\r\n")
    assert [one.fault for one in found] == [
        "the row has 1 cells, the heading 2",
        None,  # what stands beyond is empty
        "the row has 3 cells, the heading 2",
    ]
    assert list(found[2].cells) == ["C", "c"]


def test_a_quotation_mark_out_of_place_refuses_the_file_at_its_row():
    detail, at, remedy = refused(HEADING + b'A,a\r\nB,"b" x\r\n')
    assert detail.startswith("the row cannot be read")
    assert (at, remedy) == ({"row": 3, "line": 3}, "close every quotation mark")
    assert refused(HEADING + b'A,"never closed\r\nB,b\r\n')[1] == {"row": 2, "line": 2}


@pytest.mark.parametrize(
    ("data", "words", "at"),
    [
        ("id,note\r\nA,x\r\n".encode("utf-16"), "UTF-16", {}),
        (HEADING + "A,Söhne\r\n".encode("latin-1"), "not UTF-8 at the byte 0xF6", {"line": 2}),
        (HEADING + b"A,\0\r\n", "a NUL character", {"line": 2}),
        (b"id,note\rA,x\r", "a line end stands alone", {"row": 1, "line": 1}),
        (HEADING + b"A," + b"x" * 32_768 + b"\r\n", "longer than 32767", {"row": 2, "line": 2}),
        (HEADING + b"A," + b"x" * 200_000 + b"\r\n", "longer than 32767", {"row": 2, "line": 2}),
        (b"", "no heading in row 1", {}),
        (b" , \r\nA,x\r\n", "its heading is empty", {"row": 1}),
        (b",".join([b"n"] * 501), "it has 501 columns, more than 500", {}),
    ],
)
def test_what_is_no_usable_file_says_where_and_why(data, words, at):
    detail, where, _ = refused(data)
    assert words in detail
    assert where == at


def test_a_cell_as_long_as_a_spreadsheet_holds_passes():
    # 32,767 characters: from memory
    (row,) = rows(HEADING + b"A," + b"x" * 32_767)
    assert len(row.cells[1]) == 32_767


@pytest.mark.parametrize(
    ("data", "separator", "meant"),
    [(b"id;note\r\nA;x\r\n", ",", ";"), (b"id\tnote\r\n", ";", "\t"), (b"id,note\r\n", ";", ",")],
)
def test_another_separator_is_found_out_and_named(data, separator, meant):
    detail, _, remedy = refused(data, separator=separator)
    assert detail == f"its cells are not separated by {separator!r}"
    assert f'"separator": {meant!r}' in remedy


def test_a_line_without_end_is_not_kept_in_memory(monkeypatch):
    monkeypatch.setattr("api.services.imports.csv_files._LONGEST_LINE", 1 << 20)
    detail, at, _ = refused(HEADING + b'A,"' + b"x" * (2 << 20))
    assert (detail, at) == ("a line is longer than 1 MiB", {"line": 2})
