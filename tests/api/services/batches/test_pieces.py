"""Pieces of a batch: how many rows may pass, and which headings would mislead."""

from __future__ import annotations

import csv
import io

import polars as pl
import pytest

from api.errors import InvalidRecord, TooLarge
from api.services.batches.pieces import (
    Drain,
    Piece,
    check_columns,
    check_count,
    check_heading,
    counted,
    unreadable,
)


def piece(rows: int) -> Piece:
    return Piece(pl.DataFrame({"value": [1.0] * rows}), range(1, rows + 1))


def refused(check, names):
    with pytest.raises(InvalidRecord, match=r"^The columns cannot be used: ") as found:
        check(names)
    assert all(issue.remedy for issue in found.value.issues)
    return [(issue.value, issue.detail) for issue in found.value.issues]


def test_rows_up_to_the_limit_pass_and_the_piece_with_one_too_many_does_not():
    assert [one.frame.height for one in counted([piece(2), piece(3)], 5)] == [2, 3]
    passed = []
    with pytest.raises(TooLarge, match="more than 4 rows") as found:
        passed.extend(one.frame.height for one in counted([piece(2), piece(3)], 4))
    assert found.value.issues[0].remedy == "send it in smaller parts"


def test_what_goes_on_without_end_is_stopped_at_the_limit():
    endless = iter(lambda: piece(3), None)
    taken = counted(endless, 7)
    assert [next(taken).frame.height, next(taken).frame.height] == [3, 3]
    with pytest.raises(TooLarge):
        next(taken)


@pytest.mark.parametrize("name", ["value", "U", "k", "lower", "tolerance", "prior_sd", "id"])
def test_the_columns_of_a_batch_and_any_others_pass(name):
    check_columns([name, "customer", "Prüfer", "", "date of calibration"])


@pytest.mark.parametrize(
    ("name", "meant"),
    [("uper", "upper"), ("Lower", "lower"), ("u", "U"), (" toleranse ", "tolerance")],
)
def test_a_name_that_looks_misspelt_is_refused_with_the_spelling(name, meant):
    # Without its limit the row would be decided by the other one alone.
    with pytest.raises(InvalidRecord, match="looks misspelt") as found:
        check_columns(["value", name])
    (issue,) = found.value.issues
    assert issue.value == name
    assert issue.remedy.startswith(f"write {meant},")


def test_every_fault_of_a_heading_is_told_at_once():
    assert refused(check_columns, ["value", "value", "verdict", "error_line"]) == [
        ("value", "the column 'value' stands twice"),
        ("verdict", "the column 'verdict' is an answer"),
        ("error_line", "the column 'error_line' is an answer"),
    ]


def test_a_table_needs_a_value_and_its_uncertainty():
    check_heading(["U", "value"])
    assert refused(check_heading, ["id", "lower"]) == [
        ("value", "there is no column 'value'"),
        ("U", "there is no column 'U'"),
    ]


def test_five_hundred_columns_pass_and_one_more_does_not():
    check_count([f"n{place}" for place in range(500)])
    ((_, detail),) = refused(check_count, [f"n{place}" for place in range(501)])
    assert detail == "there are 501 columns, more than 500"


def test_a_drain_gives_what_was_written_since_the_last_time_and_nothing_twice():
    drain = Drain()
    writer = csv.writer(io.TextIOWrapper(drain, newline="", write_through=True))
    assert drain.take() == b""
    writer.writerow(["a", "ö"])
    assert drain.take() == "a,ö\r\n".encode()
    writer.writerow(["b"])
    writer.writerow(["c"])
    assert (drain.take(), drain.take()) == (b"b\r\nc\r\n", b"")


def test_a_drain_keeps_bytes_that_their_writer_uses_again():
    drain, buffer = Drain(), bytearray(b"one")
    assert drain.write(memoryview(buffer)) == 3
    buffer[:] = b"two"
    assert drain.take() == b"one"


def test_what_cannot_be_read_says_why_and_what_to_do():
    error = unreadable("CSV", "it is empty", "send a heading")
    assert error.detail == "The CSV cannot be read: it is empty."
    assert [(one.detail, one.remedy) for one in error.issues] == [("it is empty", "send a heading")]
