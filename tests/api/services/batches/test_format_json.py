"""JSON rows come back as they were sent, and a line that is no row says why."""

from __future__ import annotations

import io
import json

import pytest

from api.errors import InvalidRecord
from api.services.batches import format_json
from api.services.batches.format_json import (
    MalformedDocument,
    pieces_of,
    read_document,
    read_ndjson,
)


def answered(through, data: bytes, **options) -> list[dict]:
    return [json.loads(line) for line in through(data, ".ndjson", **options).splitlines()[:-1]]


def test_rows_are_repeated_with_every_digit_and_their_own_order(through):
    line = '{"id":7,"U":"0.1","value":0.50,"upper":1.000000000000000000001,"tags":["a",{"b":1e3}]}'
    assert through(line.encode(), ".ndjson").decode().startswith(line[:-1] + ',"verdict":"pass"')
    document = f'{{"rows":[{line}],"summary of":"no meaning"}}'
    assert through(document.encode(), ".json").decode().startswith(f'{{"rows":[{line[:-1]},"verd')


def test_a_number_of_json_is_read_from_its_own_digits(through):
    # In binary the value would be the limit.
    row = b'{"value":1.00000000000000000001,"U":0.1,"upper":1}'
    assert answered(through, row)[0]["verdict"] == "fail"
    assert answered(through, row)[0]["acceptance_upper"] == "1"


def test_what_one_row_lacks_is_null_and_what_is_no_number_says_so(through):
    rows = answered(through, b'{"value":true,"lower":{"x":1},"U":1}\n{"value":1,"U":"1","upper":2}')
    assert (rows[0]["error_field"], rows[0]["error"]) == ("value", "not a decimal number")
    assert (rows[0]["verdict"], rows[0]["specific_risk"]) == (None, None)
    assert (rows[1]["verdict"], rows[1]["acceptance_lower"]) == ("pass", None)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"{", "not JSON"),
        (b"[1]", "not a JSON object"),
        (b"7", "not a JSON object"),
        (b'{"value":1,"value":2}', "stands twice"),
        (b'{"value":NaN}', "NaN is not a number"),
        (b'{"id":"\xff"}', "not UTF-8"),
        (rb'{"id":"\ud800"}', "cannot be used"),
        (b'{"id":' + b"[" * 5000 + b"]" * 5000 + b"}", "not JSON|cannot be used"),
        (b'{"id":' + b"[" * 300 + b"]" * 300 + b"}", "cannot be used"),
    ],
)
def test_a_line_that_is_no_row_comes_back_with_its_number_and_harms_no_other(through, line, reason):
    good = b'{"value":1,"U":1,"upper":2}'
    first, bad, last = answered(through, good + b"\n\n" + line + b"\n" + good + b"\n")
    assert (first["verdict"], last["verdict"]) == ("pass", "pass")
    assert (bad["verdict"], bad["error_line"], bad["error_field"]) == (None, 3, None)
    assert any(words in bad["error"] for words in reason.split("|"))


def test_an_empty_object_is_a_row(through):
    assert answered(through, b"{}\n")[0]["error"] == "a number is needed"


def test_a_name_that_looks_misspelt_later_refuses_its_row(through, monkeypatch):
    monkeypatch.setattr(format_json, "ROWS", 2)
    good = b'{"value":1,"U":1,"upper":2}\n'
    bad = b'{"value":1,"U":1,"uper":0,"upper":2}\n'
    rows = answered(through, good * 2 + bad + good)
    assert [row["verdict"] for row in rows] == ["pass", "pass", None, "pass"]
    assert (rows[2]["error_field"], rows[2]["error_line"]) == ("uper", 3)
    with pytest.raises(InvalidRecord, match="misspelt"):
        answered(through, bad)


def test_a_new_column_refuses_its_row_only_where_the_answer_has_fixed_columns(through, monkeypatch):
    monkeypatch.setattr(format_json, "ROWS", 1)
    data = b'{"value":1,"U":1,"upper":2}\n{"value":1,"U":1,"upper":2,"note":"x"}\n'
    assert [row["verdict"] for row in answered(through, data)] == ["pass", "pass"]
    lines = through(data, ".ndjson", ".csv").decode().splitlines()
    assert lines[0].startswith("value,U,upper,verdict")
    assert ",2,note,the column 'note' does not stand in the first 1 rows" in lines[2]


def test_a_line_that_is_longer_than_allowed_ends_the_batch(monkeypatch):
    monkeypatch.setattr(format_json, "_LONGEST_LINE", 40)
    with pytest.raises(InvalidRecord, match="longer"):
        list(read_ndjson(io.BytesIO(b'{"id":"' + b"x" * 50 + b'"}'), False))


def test_a_document_is_bounded_and_the_remedy_is_ndjson(monkeypatch):
    monkeypatch.setattr(format_json, "LARGEST_DOCUMENT", 10)
    with pytest.raises(InvalidRecord, match="larger") as refused:
        read_document(io.BytesIO(b"[" + b" " * 20 + b"]"))
    assert "NDJSON" in refused.value.issues[0].remedy


@pytest.mark.parametrize(
    "data", [b"", b"[", b"\xff", b'[{"a":1,"a":2}]', b"[NaN]", rb'["\udc00"]', b"[" * 9999]
)
def test_a_document_that_is_no_json_is_malformed(data):
    with pytest.raises(MalformedDocument):
        read_document(io.BytesIO(data))


def test_numbers_beside_the_rows_are_numbers():
    found = read_document(io.BytesIO(b'{"rule":{"zones":4,"r":0.50},"rows":[{"value":1.0}]}'))
    assert (found["rule"]["zones"], str(found["rule"]["r"])) == (4, "0.50")


def test_a_row_that_is_no_object_is_refused_at_its_place():
    with pytest.raises(InvalidRecord) as refused:
        list(pieces_of([{"value": "1"}, 3]))
    assert [issue.pointer for issue in refused.value.issues] == ["/rows/1"]


def test_long_lines_make_short_pieces(through, monkeypatch):
    heights = []
    made = format_json.Piece

    def watched(frame, *args, **kwargs):
        heights.append(frame.height)
        return made(frame, *args, **kwargs)

    monkeypatch.setattr(format_json, "Piece", watched)
    monkeypatch.setattr(format_json, "BYTES", 10_000)
    row = {"value": 1, "U": "0.1", "upper": 2, "note": "x" * 1_000}
    through((json.dumps(row) + "\n").encode() * 100, ".ndjson")
    assert max(heights) <= 10
    assert sum(heights) == 100
