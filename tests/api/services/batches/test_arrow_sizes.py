"""How large an Arrow table will be is read from its headers; types that hide it are refused.

The measure is pyarrow, which says how many bytes its own buffers have. Large files whose memory is
measured are in test_batch_bombs.py.
"""

from __future__ import annotations

import io
import re

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from api.errors import InvalidRecord
from api.services.batches import arrow_sizes
from api.services.batches.arrow_sizes import (
    check_rows,
    check_stream,
    check_texts,
    check_types,
    is_text,
    size_of,
)

ENDINGS = [".parquet", ".arrow"]
SIZE = 1_000


def packed(table: pa.Table, ending: str, **options) -> bytes:
    sink = io.BytesIO()
    if ending == ".parquet":
        pq.write_table(table, sink, **options)
    else:
        with pa.ipc.new_stream(sink, table.schema, options=pa.ipc.IpcWriteOptions(**options)) as w:
            w.write_table(table)
    return sink.getvalue()


def stream(table: pa.Table) -> bytes:
    return packed(table, ".arrow", compression="zstd")


def table_of(size: int = 4, **more) -> pa.Table:
    columns = {"value": [0.3] * size, "U": [0.2] * size, "upper": [0.5] * size}
    return pa.table({**columns, **more})


def test_many_dictionaries_are_counted_together(through, monkeypatch):
    columns = {
        f"n{place}": pa.array([f"{place}" * 1_000] * 4).dictionary_encode() for place in range(100)
    }
    sent = stream(table_of(4, **columns))
    assert through(sent, ".arrow")
    monkeypatch.setattr(arrow_sizes, "LARGEST_BATCH", 50_000)
    with pytest.raises(InvalidRecord, match="its dictionaries hold more than"):
        through(sent, ".arrow")


def test_a_stream_says_its_unpacked_size_before_it_is_unpacked(monkeypatch):
    sent = table_of(SIZE, note=["x" * 1000] * SIZE)
    for compression in (None, "zstd", "lz4"):
        data = packed(sent, ".arrow", compression=compression)
        check_stream(io.BytesIO(data))
        with monkeypatch.context() as patch:
            patch.setattr(arrow_sizes, "LARGEST_BATCH", 900_000)
            with pytest.raises(InvalidRecord, match="record batch"):
                check_stream(io.BytesIO(data))


def test_texts_in_dictionaries_are_counted_as_often_as_they_stand(through, monkeypatch):
    monkeypatch.setattr(arrow_sizes, "LARGEST_BATCH", 500_000)
    note = pa.array(["x" * 1000] * SIZE)
    for ending in ENDINGS:
        sent = table_of(SIZE, note=note.dictionary_encode() if ending == ".arrow" else note)
        data = packed(sent, ending)
        assert len(data) < 100_000
        with pytest.raises(InvalidRecord, match="its texts hold 1000000 bytes"):
            through(data, ending)


@pytest.mark.parametrize("compression", [None, "zstd", "lz4"])
def test_the_size_that_is_read_is_that_of_the_buffers(monkeypatch, compression):
    # Buffers are padded to 8 or 64 bytes (Arrow columnar format, "Buffer Alignment and Padding"):
    # seven buffers here, validity, offsets and data.
    table = table_of(SIZE, note=[None, "ab" * 40] * (SIZE // 2)).combine_chunks()
    monkeypatch.setattr(arrow_sizes, "LARGEST_BATCH", 1)
    with pytest.raises(InvalidRecord) as refused:
        check_stream(io.BytesIO(packed(table, ".arrow", compression=compression)))
    held = int(re.search(r"a record batch holds (\d+) bytes", refused.value.detail)[1])
    actual = table.to_batches()[0].get_total_buffer_size()
    assert actual - 7 * 64 <= held <= actual + 7 * 64


def test_a_stream_of_many_batches_is_refused_for_its_rows_together(monkeypatch):
    # 3 x 500 rows of nothing; with one row for each byte and 1,000 besides, fewer fit.
    batch = pa.record_batch({"value": pa.nulls(500)})
    sink = io.BytesIO()
    with pa.ipc.new_stream(sink, batch.schema) as writer:
        for _ in range(3):
            writer.write_batch(batch)
    check_stream(io.BytesIO(sink.getvalue()))
    monkeypatch.setattr(arrow_sizes, "_ROWS_ANYWAY", 1_000)
    monkeypatch.setattr(arrow_sizes, "_ROWS_PER_BYTE", 0)
    with pytest.raises(InvalidRecord, match="stand for 1500 rows"):
        check_stream(io.BytesIO(sink.getvalue()))


@pytest.mark.parametrize(
    "kind",
    [
        pa.float64(),
        pa.decimal128(30, 20),
        pa.timestamp("us", "UTC"),
        pa.null(),
        pa.string_view(),
        pa.binary(16),
        pa.list_(pa.string()),
        pa.struct([("a", pa.int8()), ("b", pa.list_(pa.float32()))]),
        pa.map_(pa.string(), pa.int64()),
        pa.dictionary(pa.int32(), pa.large_string()),
        pa.dictionary(pa.int8(), pa.decimal128(5, 2)),
    ],
    ids=str,
)
def test_a_type_whose_bytes_stand_for_their_own_values_passes(kind):
    assert check_types(pa.schema([("x", kind)])) is None


@pytest.mark.parametrize(
    ("kind", "why"),
    [
        (pa.run_end_encoded(pa.int32(), pa.string()), "run-end encoded"),
        (pa.list_view(pa.int8()), "a view"),
        (pa.large_list_view(pa.int8()), "a view"),
        (pa.binary_view(), "a view"),
        (pa.list_(pa.string_view()), "a dictionary or view within another type"),
        (pa.struct([("a", pa.dictionary(pa.int8(), pa.string()))]), "a dictionary or view within"),
        (pa.list_(pa.null(), 1_000_000), "nothing, any number of times"),
        (pa.list_(pa.struct([])), "nothing, any number of times"),
        (pa.dictionary(pa.int8(), pa.binary()), "a dictionary of something else"),
        (pa.dictionary(pa.int8(), pa.list_(pa.int8())), "a dictionary of something else"),
    ],
    ids=str,
)
def test_a_type_in_which_few_bytes_stand_for_many_values_is_refused(kind, why):
    with pytest.raises(InvalidRecord, match=f"the column 'x' is {why}") as refused:
        check_types(pa.schema([("id", pa.string()), ("x", kind)]))
    assert refused.value.issues[0].remedy == "write it as a plain column"


def test_lists_in_lists_without_end_are_refused_and_do_not_fill_the_stack():
    kind = pa.int8()
    for _ in range(16):
        kind = pa.list_(kind)
    check_types(pa.schema([("x", kind)]))
    with pytest.raises(InvalidRecord, match="nested too deep"):
        check_types(pa.schema([("x", pa.list_(kind))]))


def test_an_extension_is_as_good_as_what_it_is_stored_in():
    check_types(pa.schema([("x", pa.uuid())]))
    with pytest.raises(InvalidRecord, match="a view"):
        check_types(pa.schema([("x", pa.opaque(pa.list_view(pa.int8()), "t", "v"))]))


def test_text_is_text_in_each_of_its_three_forms_and_bytes_are_none():
    assert all(map(is_text, (pa.string(), pa.large_string(), pa.string_view())))
    assert not any(map(is_text, (pa.binary(), pa.int8(), pa.dictionary(pa.int8(), pa.string()))))


def test_a_million_rows_and_a_hundred_for_each_byte_pass_and_not_one_more():
    check_rows("Parquet", 1_000_000 + 100 * 7, 7)
    with pytest.raises(InvalidRecord, match="7 bytes stand for 1000701 rows"):
        check_rows("Parquet", 1_000_701, 7)


def test_the_size_of_a_file_is_found_and_its_place_kept():
    source = io.BytesIO(b"0123456789")
    source.seek(4)
    assert (size_of(source), source.tell()) == (10, 4)


@pytest.mark.parametrize(
    "texts",
    [
        pa.array([None, "ab", "Söhne & Co", ""] * 20, pa.string()),
        pa.array([None, "ab", "Söhne & Co", ""] * 20, pa.large_string()),
        pa.array([None, "ab", "Söhne & Co", ""] * 20, pa.string_view()),
        pa.array([None, "ab", "Söhne & Co", ""] * 20).dictionary_encode(),
    ],
    ids=lambda texts: str(texts.type),
)
def test_texts_of_a_slice_are_counted_in_utf_8_as_often_as_they_stand(monkeypatch, texts):
    # from the second row on: ab, Söhne & Co, "", None, ab, Söhne & Co, "", None, ab, Söhne & Co
    batch = pa.record_batch({"note": texts, "n": pa.array(range(80))}).slice(1, 10)
    held = 3 * 2 + 3 * 11
    monkeypatch.setattr(arrow_sizes, "LARGEST_BATCH", held)
    check_texts(batch)
    monkeypatch.setattr(arrow_sizes, "LARGEST_BATCH", held - 1)
    with pytest.raises(InvalidRecord, match="its texts hold 39 bytes in 10 rows"):
        check_texts(batch)


def test_a_cell_may_have_sixty_four_kibibytes_and_no_more():
    check_texts(pa.record_batch({"note": ["x" * 65_536]}))
    for text in ("x" * 65_537, "ö" * 32_769):
        with pytest.raises(InvalidRecord, match="a cell of 'note' is longer than 65536 bytes"):
            check_texts(pa.record_batch({"note": [text]}))
