"""Small files that would fill the memory: refused by what their headers say, before anything grows.

The bombs are real: each is three megabytes at most and stands for gigabytes. They are set off in a
process of its own, whose memory is measured.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from api.errors import InvalidRecord

ROWS = 200_000
MB = 1 << 20
# Reads a file as a server would and prints how the memory grew, in bytes, and what was said.
READER = """
import io, json, resource, sys
from api.errors import InvalidRecord
from api.rules.rule import BUILT_IN
from api.schemas.batches import row_fault
from api.services.batches.formats import kind_of, read_pieces, writer_of
from api.services.batches.batches import Batch, Deciding

def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024

def run(data, came, goes):
    deciding = Deciding(row_fault, BUILT_IN, BUILT_IN["simple"])
    pieces = read_pieces(io.BytesIO(data), kind_of(came), kind_of(goes))
    for part in Batch(pieces, deciding, writer_of(kind_of(goes))):
        pass

came, goes, harmless, *bombs = sys.argv[1:]
run(open(harmless, "rb").read(), came, goes)
before, found = peak(), []
for bomb in bombs:
    said = ""
    try:
        run(open(bomb, "rb").read(), came, goes)
    except InvalidRecord as error:
        said = error.detail
    found.append([peak() - before, said])
print(json.dumps(found))
"""


def table_of(rows: int, **more) -> pa.Table:
    ones = pa.DictionaryArray.from_arrays(pa.array(np.zeros(rows, np.int32)), pa.array([1.0]))
    return pa.table({"value": ones, "U": ones, "upper": ones, **more})


def repeated(value, rows: int = ROWS) -> pa.DictionaryArray:
    return pa.DictionaryArray.from_arrays(pa.array(np.zeros(rows, np.int32)), value)


def parquet(table: pa.Table, **options) -> bytes:
    sink = io.BytesIO()
    options = {"store_schema": False, "compression": "zstd", **options}
    pq.write_table(table, sink, **options)
    return sink.getvalue()


def stream(table: pa.Table) -> bytes:
    sink = io.BytesIO()
    options = pa.ipc.IpcWriteOptions(compression="zstd")
    with pa.ipc.new_stream(sink, table.schema, options=options) as writer:
        writer.write_table(table)
    return sink.getvalue()


def shared_texts() -> pa.Table:
    """A column of views, each of the same 60,000 bytes."""
    text = b"x" * 60_000
    view = np.array(
        [(len(text), int.from_bytes(text[:4], "little"), 0, 0)] * ROWS, "<i4,<i4,<i4,<i4"
    )
    buffers = [None, pa.py_buffer(view.tobytes()), pa.py_buffer(text)]
    return table_of(ROWS, note=pa.Array.from_buffers(pa.string_view(), ROWS, buffers))


def shared_lists() -> pa.Table:
    """A column of views, each of the same 60,000 numbers."""
    offsets, sizes = np.zeros(ROWS, np.int32), np.full(ROWS, 60_000, np.int32)
    inner = pa.array(np.zeros(60_000))
    return table_of(
        ROWS, note=pa.ListViewArray.from_arrays(pa.array(offsets), pa.array(sizes), inner)
    )


def rows_without_end() -> pa.Table:
    nothing = pa.nulls(150_000_000)
    return pa.table({"value": nothing, "U": nothing})


# What each stands for: 200,000 rows of a megabyte, of 100 texts of two kilobytes, 150 million.
PARQUET = {
    "bytes that stand once": lambda: table_of(ROWS, note=repeated(pa.array([b"x" * MB]))),
    "texts that stand once": lambda: table_of(ROWS, note=repeated(pa.array(["x" * MB]))),
    "many columns of bytes": lambda: table_of(
        ROWS, **{f"n{place}": repeated(pa.array([b"x" * 2_000])) for place in range(100)}
    ),
    "rows without end": rows_without_end,
}
ARROW = {
    "texts that stand once": lambda: table_of(ROWS, note=repeated(pa.array(["x" * 60_000]))),
    "bytes that stand once": lambda: table_of(ROWS, note=repeated(pa.array([b"x" * 60_000]))),
    "texts that share their bytes": shared_texts,
    "lists that share their elements": shared_lists,
    "lists of nothing": lambda: table_of(
        4, note=pa.FixedSizeListArray.from_arrays(pa.nulls(400_000_000), 100_000_000)
    ),
    "runs": lambda: table_of(
        ROWS, note=pa.RunEndEncodedArray.from_arrays([ROWS], pa.array(["x" * 60_000]))
    ),
    "rows without end": rows_without_end,
}


@pytest.fixture
def set_off(tmp_path):
    """Read files in a process of its own; say how it grew, in bytes, and what was said of each."""

    def run(bombs, came: str, goes: str):
        table = pa.table({"value": [0.3], "U": [0.2], "upper": [0.5], "note": ["a"]})
        files = [tmp_path / str(place) for place in range(len(bombs) + 1)]
        files[0].write_bytes(parquet(table) if came == ".parquet" else stream(table))
        for file, bomb in zip(files[1:], bombs, strict=True):
            file.write_bytes(bomb)
        command = [sys.executable, "-c", READER, came, goes, *map(str, files)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        return json.loads(done.stdout)

    return run


@pytest.mark.parametrize("goes", [".csv", ".parquet"])
def test_parquet_bombs_are_refused_in_little_memory(set_off, goes):
    bombs = [parquet(make(), write_statistics=False) for make in PARQUET.values()]
    assert max(map(len, bombs)) < 3 * MB
    for name, (grown, said) in zip(PARQUET, set_off(bombs, ".parquet", goes), strict=True):
        assert "cannot be read" in said, name
        assert grown < 150 * MB, name


@pytest.mark.parametrize("goes", [".ndjson", ".arrow"])
def test_arrow_bombs_are_refused_in_little_memory(set_off, goes):
    bombs = [stream(make()) for make in ARROW.values()]
    assert max(map(len, bombs)) < MB
    for name, (grown, said) in zip(ARROW, set_off(bombs, ".arrow", goes), strict=True):
        assert "cannot be read" in said, name
        assert grown < 150 * MB, name


def test_offsets_that_point_elsewhere_and_text_that_is_none_are_refused(through):
    texts = pa.array(["a", "bc", "def", ""])
    for buffers in (
        [None, pa.array([0, 900, 2, 3, 6], pa.int32()).buffers()[1], texts.buffers()[2]],
        [None, texts.buffers()[1], pa.py_buffer(b"\xff\xfe\xff\xfe\xff\xfe")],
    ):
        wrong = pa.Array.from_buffers(pa.string(), 4, buffers)
        with pytest.raises(InvalidRecord, match="cannot be read"):
            through(stream_of(table_of(4, note=wrong)), ".arrow")


def stream_of(table: pa.Table) -> bytes:
    sink = io.BytesIO()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return sink.getvalue()


def test_texts_of_views_and_bytes_still_pass(through):
    note = pa.array(["ab", None, "long enough to stand outside", ""], pa.string_view())
    sent = table_of(4, note=note, raw=pa.array([b"1", b"2", None, b"4"]))
    for ending, pack in ((".arrow", stream), (".parquet", parquet)):
        got = through(pack(sent), ending)
        table = (
            pq.read_table(io.BytesIO(got))
            if ending == ".parquet"
            else pa.ipc.open_stream(got).read_all()
        )
        assert table["note"].to_pylist() == note.to_pylist()
        assert table["raw"].to_pylist() == [b"1", b"2", None, b"4"]


def test_bytes_have_no_place_in_text(through):
    sent = parquet(table_of(4, note=pa.array([b"=1", b"x", b"y", b"z"])))
    for goes in (".csv", ".ndjson", ".json"):
        with pytest.raises(InvalidRecord, match="cannot be read"):
            through(sent, ".parquet", goes)
