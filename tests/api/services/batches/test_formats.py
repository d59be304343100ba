"""A batch in each format and back: other readers find the rows, and the totals at the end.

Readers: Python's csv and json, pyarrow for Parquet and Arrow.
"""

from __future__ import annotations

import csv
import io
import json

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from api.errors import InvalidRecord
from api.services.batches.formats import (
    ARROW,
    CSV,
    JSON,
    KINDS,
    NDJSON,
    PARQUET,
    kind_of,
    read_pieces,
    writer_of,
)
from api.services.batches.pieces import Piece

SENT = "id,value,U,upper,note\n007,1.90,0.1,2,=1+1\nb,1.95,0.1,2,\nc,ten,0.1,2,x\n"
# 2 - 0.1 = 1.9: the first passes, the second fails, the third is no number.
TOTALS = {"rows": 3, "decided": 2, "refused": 1}
ENDINGS = [kind.suffix for kind in KINDS]


def rows_of(data: bytes, ending: str) -> list[dict]:
    """Rows of an answer, by a reader that is not ours; what is absent or null is left out."""
    if ending == ".csv":
        rows = list(csv.DictReader(io.StringIO(data.decode(), newline="")))
    elif ending == ".ndjson":
        rows = [json.loads(line) for line in data.decode().splitlines()][:-1]
    elif ending == ".json":
        rows = json.loads(data)["rows"]
    elif ending == ".parquet":
        rows = pq.read_table(io.BytesIO(data)).to_pylist()
    else:
        rows = pa.ipc.open_stream(data).read_all().to_pylist()
    return [{name: cell for name, cell in row.items() if cell not in (None, "")} for row in rows]


def totals_of(data: bytes, ending: str) -> dict:
    if ending == ".csv":
        return json.loads(data.decode().splitlines()[-1].removeprefix("#summary "))
    if ending == ".ndjson":
        return json.loads(data.splitlines()[-1])["summary"]
    if ending == ".json":
        return json.loads(data)["summary"]
    if ending == ".parquet":
        metadata = pq.read_metadata(io.BytesIO(data)).metadata
        return json.loads(metadata[b"tracehold_summary"])
    with pa.ipc.open_stream(data) as reader:
        last = None
        while True:
            try:
                last = reader.read_next_batch_with_custom_metadata()
            except StopIteration:
                break
    return json.loads(last.custom_metadata[b"tracehold_summary"])


def test_a_format_is_known_by_its_media_types_and_by_the_ending_of_a_file():
    # RFC 4180 (text/csv), RFC 8259 (application/json); the media types of Apache are registered
    # with IANA, those of NDJSON are custom (from memory)
    known = {
        "text/csv": CSV,
        "application/json": JSON,
        "application/x-ndjson": NDJSON,
        "application/jsonl": NDJSON,
        "application/vnd.apache.parquet": PARQUET,
        "application/vnd.apache.arrow.stream": ARROW,
        ".CSV": CSV,
        ".Parquet": PARQUET,
    }
    assert {name: kind_of(name) for name in known} == known
    assert [kind_of(name) for name in ("image/png", ".xlsx", "csv", "")] == [None] * 4


def test_no_two_formats_share_a_name():
    names = [name for kind in KINDS for name in (*kind.media_types, kind.suffix)]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("goes", ENDINGS)
def test_every_format_can_be_answered_with_rows_in_order(through, goes):
    options = {"raw": True} if goes == ".csv" else {}
    rows = rows_of(through(SENT.encode(), ".csv", goes, "guard_U", **options), goes)
    assert [row["id"] for row in rows] == ["007", "b", "c"]
    assert [row.get("verdict") for row in rows] == ["pass", "fail", None]
    assert [row.get("acceptance_upper") for row in rows] == ["1.9", "1.9", None]
    assert rows[0]["note"] == "=1+1"
    assert int(rows[2]["error_line"]) == 4
    assert rows[2]["error_field"] == "value"


@pytest.mark.parametrize("came", ENDINGS)
@pytest.mark.parametrize("goes", ENDINGS)
def test_every_format_becomes_every_other_one_and_ends_with_its_totals(through, came, goes):
    options = {"summary_line": True} if goes == ".csv" else {}
    first = through(SENT.replace("ten", "").encode(), ".csv", ".parquet", "guard_U")
    table = pq.read_table(io.BytesIO(first)).select(["id", "value", "U", "upper"])
    rows = [{n: c for n, c in row.items() if c is not None} for row in table.to_pylist()]
    sink = io.BytesIO()
    if came == ".csv":
        pl.from_arrow(table).write_csv(sink)
    elif came == ".ndjson":
        sink.write(b"".join(json.dumps(row).encode() + b"\n" for row in rows))
    elif came == ".json":
        sink.write(json.dumps({"rows": rows}).encode())
    elif came == ".parquet":
        pq.write_table(table, sink)
    else:
        with pa.ipc.new_stream(sink, table.schema) as writer:
            writer.write_table(table)
    answer = through(sink.getvalue(), came, goes, "guard_U", **options)
    totals = totals_of(answer, goes)
    assert {name: totals[name] for name in TOTALS} == TOTALS
    assert {n: c for n, c in totals["by_verdict"].items() if c} == {"pass": 1, "fail": 1}
    if goes != ".csv":
        assert [row.get("verdict") for row in rows_of(answer, goes)] == ["pass", "fail", None]


@pytest.mark.parametrize("ending", [".ndjson", ".json"])
def test_a_batch_without_rows_is_whole_too(through, ending):
    empty = b"" if ending == ".ndjson" else b'{"rows": []}'
    answer = through(empty, ending)
    assert rows_of(answer, ending) == []
    assert totals_of(answer, ending)["rows"] == 0


def test_a_csv_has_its_heading_once_or_not_at_all_and_totals_only_if_asked(through):
    lines = through(SENT.encode(), rule="guard_U").decode().splitlines()
    assert [line for line in lines if line.startswith("id,")] == [lines[0]]
    assert not lines[-1].startswith("#")
    bare = through(SENT.encode(), rule="guard_U", heading=False).decode().splitlines()
    assert bare == lines[1:]


def test_a_formula_in_a_csv_is_made_harmless_unless_it_is_wanted_raw(through):
    assert b"'=1+1" in through(SENT.encode(), rule="guard_U")
    raw = through(SENT.encode(), rule="guard_U", raw=True)
    assert b",=1+1," in raw
    assert b"'" not in raw.split(b"\n")[1]
    # Only a spreadsheet runs cells; JSON keeps them as they are.
    assert b'"=1+1"' in through(SENT.encode(), ".csv", ".ndjson", "guard_U")


def test_json_repeats_the_digits_and_the_fields_that_came(through):
    sent = b'{"value": 1.90, "U": 1e-1, "upper": 2.000, "more": {"a": [1.10, null]}}\n'
    first = through(sent, ".ndjson", rule="guard_U").splitlines()[0]
    for part in (b"1.90", b"1e-1", b"2.000", b"[1.10"):
        assert part in first
    assert json.loads(first)["verdict"] == "pass"


def test_bytes_have_no_form_in_json_however_deep_they_lie():
    for column in ([b"a"], [[b"a"]], [{"inner": b"a"}]):
        frame = pl.DataFrame({"raw": column})
        answers = pl.DataFrame({"error": pl.Series([None], dtype=pl.String)})
        for kind in (NDJSON, JSON):
            with pytest.raises(InvalidRecord, match="no form for the bytes in the column 'raw'"):
                writer_of(kind).prepare(Piece(frame, [1]), answers)


def test_a_document_has_one_comma_between_rows_wherever_the_pieces_end():
    writer = writer_of(JSON)
    parts = [writer.write(part) for part in (b'{"a":1}\n{"a":2}\n', b"", b'{"a":3}\n')]
    whole = b"".join([*parts, writer.finish({"rows": 3})])
    assert json.loads(whole) == {"rows": [{"a": 1}, {"a": 2}, {"a": 3}], "summary": {"rows": 3}}


@pytest.mark.parametrize("ending", [".csv", ".json", ".parquet", ".arrow"])
def test_what_is_not_in_the_format_is_refused(ending):
    kind = kind_of(ending)
    with pytest.raises(InvalidRecord, match="cannot be read"):
        list(read_pieces(io.BytesIO(b"\x00\xff\xfe nothing that anybody sends"), kind, kind))


def test_a_line_that_is_no_object_harms_only_itself():
    lines = io.BytesIO(b'\xff\xfe\n{"value": 1, "U": 1, "upper": 2}\n')
    (piece,) = read_pieces(lines, NDJSON, NDJSON)
    assert (list(piece.refused), list(piece.lines)) == ([0], [1, 2])


def test_a_long_batch_is_read_in_pieces_as_it_is_asked_for():
    lines = b'{"value": 1, "U": 1, "upper": 2}\n' * 20_000
    pieces = read_pieces(io.BytesIO(lines), NDJSON, NDJSON)
    first = next(pieces)
    assert 0 < first.frame.height < 20_000
