"""CSV keeps its text, and a row that is no row comes back with its line and reason."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.errors import InvalidRecord
from api.services.batches import format_csv
from api.services.batches.format_csv import read_csv

HEADING = b"id,value,U,upper\n"


def read(data: bytes):
    """Rows, their lines and the rows refused, of all pieces together."""
    rows, lines, refused = [], [], {}
    for piece in read_csv(io.BytesIO(data)):
        refused |= {len(rows) + place: fault for place, fault in piece.refused.items()}
        rows += [tuple(cell or "" for cell in row) for row in piece.frame.rows()]
        lines += piece.lines
    return rows, lines, refused


def decided(through, data: bytes, **options) -> list[str]:
    return through(data, **options).decode().splitlines()


def test_columns_come_back_in_their_order_with_the_answers_behind_them(through):
    heading, row = decided(through, b"upper,remark,U,value,id\n1.0,ok,0.10,0.50,007\n")
    assert heading == (
        "upper,remark,U,value,id,verdict,acceptance_lower,acceptance_upper,"
        "conformance_probability,specific_risk,error_line,error_field,error"
    )
    assert row.startswith("1.0,ok,0.10,0.50,007,pass,,1.0,1.0,")


def test_an_id_that_looks_like_a_number_or_like_nothing_stays_as_it_is(through):
    lines = decided(through, HEADING + b"007,0,1,2\nNA,0,1,2\nNone,0,1,2\n1e5,0,1,2\n,0,1,2\n")
    assert [line.split(",")[0] for line in lines[1:]] == ["007", "NA", "None", "1e5", ""]


def test_cells_that_a_spreadsheet_would_run_are_neutralised(through):
    data = b"id,value,U,upper,=cmd\n=1+1,-1,0.1,+2.0,@x\n-,+1,0.1,2,\t=2\n-5,,0.1,=2,-7e2\n"
    heading, first, second, third = decided(through, data)
    assert heading.startswith("id,value,U,upper,'=cmd,")
    assert first.startswith("'=1+1,-1,0.1,+2.0,'@x,pass,")
    assert second.startswith("'-,+1,0.1,2,'\t=2,pass,")
    assert third.startswith("-5,,0.1,'=2,-7e2,,")
    assert decided(through, data, raw=True)[1].startswith("=1+1,-1,0.1,+2.0,@x,pass,")


def test_no_other_first_character_of_a_cell_is_changed(through):
    # Each in a batch of its own: columns are looked at as a whole first.
    first = [*map(chr, range(33, 127)), "\t", "é", "日"]
    cells = [f"{character}x" for character in first if character not in '",']
    found = [decided(through, HEADING + f"{cell},0,1,2\n".encode())[1] for cell in cells]
    changed = [cell for cell, line in zip(cells, found, strict=True) if line[0] != cell[0]]
    assert changed == ["+x", "-x", "=x", "@x", "\tx"]


def test_pieces_with_and_without_bad_rows_have_as_many_cells(through, monkeypatch):
    monkeypatch.setattr(format_csv, "BLOCK", 20)
    data = HEADING + b"1,0,1,2\n" * 9 + b"2,x,1,2\n" + b"3,0,1,2\n" * 9
    rows = list(csv.reader(decided(through, data)))
    assert {len(row) for row in rows} == {len(rows[0])}
    assert [row[-3:] for row in rows[1:] if row[-1]] == [["11", "value", "not a decimal number"]]


def test_quoted_cells_with_commas_quotes_and_line_breaks_come_through(through):
    data = b'value,U,note\n1,2,"a,b"\n"1","2","say ""x""\nthen"\n3,4,\n'
    rows, lines, refused = read(data)
    assert rows == [("1", "2", "a,b"), ("1", "2", 'say "x"\nthen'), ("3", "4", "")]
    assert (lines, refused) == ([2, 3, 5], {})
    back = list(csv.reader(io.StringIO(through(data).decode(), newline="")))
    assert [tuple(row[:3]) for row in back[1:]] == rows


@pytest.mark.parametrize(
    "data", [b"\xef\xbb\xbfvalue,U\r\n1,2\r\n", b"value,U\n\n1,2\n\n", b"value,U\r1,2"]
)
def test_byte_order_mark_line_ends_and_empty_lines_make_no_difference(data):
    rows, _, refused = read(data)
    assert (rows, refused) == ([("1", "2")], {})


def test_a_line_number_counts_empty_lines(through):
    line = decided(through, b"value,U,upper\n\n1,2,3\n\n\nx,2,3\n")[-1]
    assert line.endswith(",6,value,not a decimal number")


def test_a_row_that_is_too_short_or_too_long_is_refused_and_not_guessed_at(through):
    # Decided by its upper limit alone, the second row would pass unseen.
    lines = decided(through, b"value,U,upper,lower\n5,1,9,1\n5,1,9\n5,1,9,1,7\n5,1,9,1\n")
    assert [",pass," in line for line in lines] == [False, True, False, False, True]
    assert lines[2].endswith('3,lower,"the row has 3 cells, the heading 4"')
    assert lines[3].endswith('4,lower,"the row has 5 cells, the heading 4"')


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (b'"1,2,3\n', "unexpected end of data"),
        (b'"1"x,2,3\n', "',' expected after '\"'"),
    ],
)
def test_a_row_with_misplaced_quotation_marks_harms_no_other(through, row, reason):
    lines = decided(through, b"value,U,upper\n1,1,3\n" + row)
    assert ",pass," in lines[1]
    assert lines[2].startswith(",,,,")
    assert ",3,value," in lines[2]
    assert reason in lines[2].replace('""', '"')


def test_quotation_marks_within_a_cell_are_part_of_it(through):
    rows, lines, refused = read(b'value,U,note\n1,2,5" rod\n3,4,6"\n5,6,"a,b"\n')
    assert rows == [("1", "2", '5" rod'), ("3", "4", '6"'), ("5", "6", "a,b")]
    assert (lines, refused) == ([2, 3, 4], {})


def test_a_mark_that_is_never_closed_costs_a_bounded_number_of_rows(monkeypatch):
    monkeypatch.setattr(format_csv, "BLOCK", 1 << 12)
    monkeypatch.setattr(format_csv, "_LONGEST_ROW", 1 << 13)
    good = b"".join(b"%d,1,3\n" % place for place in range(4_000))
    rows, _, refused = read(b'value,U,upper\n"0,1,3\n' + good)
    assert len(refused) == 1
    assert len(rows) > 2_000
    assert rows[-1] == ("3999", "1", "3")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\n\n", "empty"),
        (b"value,U\n\xff,1\n", "not UTF-8"),
        (b"value,U\n\0,1\n", "NUL"),
        (b"value;U;upper\n1;2;3\n", "not separated by commas"),
        (b"id,upper\n1,2\n", "no column 'value'"),
    ],
)
def test_what_is_no_csv_is_refused_with_the_reason(data, words):
    with pytest.raises(InvalidRecord, match=words) as refused:
        read(data)
    assert refused.value.issues[0].remedy


plain = st.text("ab0.", max_size=4)
cells = plain | st.text('a,"\n ', max_size=5) | st.text("é日=+-", max_size=3)


@given(st.lists(st.tuples(plain, plain, cells), max_size=12), st.integers(4, 60))
@settings(deadline=None)
def test_whatever_is_written_by_the_rules_is_read_again_in_blocks_of_any_size(rows, size):
    rows = [row for row in rows if any(row)]
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    writer.writerow(("value", "U", "note"))
    writer.writerows(rows)
    kept, format_csv.BLOCK = format_csv.BLOCK, size
    try:
        found, lines, refused = read(written.getvalue().encode())
    finally:
        format_csv.BLOCK = kept
    assert (found, refused) == (rows, {})
    before = [sum(cell.count("\n") for cell in row) + 1 for row in rows]
    assert lines == [2 + sum(before[:place]) for place in range(len(rows))]


def test_short_rows_under_a_wide_heading_are_filled_up_a_few_at_a_time(through, monkeypatch):
    widths = []
    made = format_csv.Piece

    def watched(frame, *args, **kwargs):
        widths.append(frame.height * frame.width)
        return made(frame, *args, **kwargs)

    monkeypatch.setattr(format_csv, "Piece", watched)
    monkeypatch.setattr(format_csv, "CELLS", 10_000)
    heading = ",".join(["value", "U", "upper", *(f"x{place}" for place in range(97))])
    answer = through(f"{heading}\n".encode() + b"1\n" * 1_000)
    assert max(widths) <= 10_000
    assert answer.count(b"the row has 1 cells, the heading 100") == 1_000
