"""How large a Parquet file will be is found out before it is unpacked, page by page.

Large files whose memory is measured are in test_batch_bombs.py.
"""

from __future__ import annotations

import io

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from api.errors import InvalidRecord
from api.services.batches import parquet_sizes
from api.services.batches.parquet_sizes import check_parquet, opened

MB = 1 << 20


def table_of(rows: int, **more) -> pa.Table:
    ones = pa.DictionaryArray.from_arrays(pa.array(np.zeros(rows, np.int32)), pa.array([1.0]))
    return pa.table({"value": ones, "U": ones, "upper": ones, **more})


def parquet(table: pa.Table, **options) -> bytes:
    sink = io.BytesIO()
    options = {"store_schema": False, "compression": "zstd", **options}
    pq.write_table(table, sink, **options)
    return sink.getvalue()


def checked(data: bytes, rows_at_once: int = 10_000) -> list[str]:
    """Check a file; the columns of text to be read as dictionaries."""
    source = io.BytesIO(data)
    return check_parquet(opened(source), source, rows_at_once)


def lists(inner: pa.Array) -> pa.Array:
    """One row that holds all of them, and three that hold none."""
    return pa.ListArray.from_arrays(pa.array([0, *[len(inner)] * 4], pa.int32()), inner)


# The writer would need as much memory as the reader here, so the measure is made smaller.
SMALLER = {
    "fixed bytes": lambda: table_of(5_000, note=pa.array([b"x" * 4_000] * 5_000, pa.binary(4_000))),
    "texts in lists": lambda: table_of(4, note=lists(pa.array(["x" * 4_000] * 5_000))),
    "bytes in structures": lambda: table_of(
        5_000, note=pa.StructArray.from_arrays([pa.array([b"x" * 4_000] * 5_000)], ["inner"])
    ),
    "numbers in one list": lambda: table_of(4, note=lists(pa.array(np.zeros(2_000_000)))),
}


@pytest.mark.parametrize("name", SMALLER)
def test_what_is_not_a_plain_column_is_counted_as_it_will_stand(through, monkeypatch, name):
    sent = parquet(SMALLER[name]())
    assert len(sent) < 200_000
    assert through(sent, ".parquet")
    monkeypatch.setattr(parquet_sizes, "LARGEST_PIECE", 8 * MB)
    with pytest.raises(InvalidRecord, match="needs more than 8388608 bytes at once"):
        through(sent, ".parquet")


def test_a_page_is_believed_and_not_the_footer(through, monkeypatch):
    zeros = pa.table({name: np.zeros(2_000_000) for name in ("value", "U", "upper")})
    sent = parquet(zeros, use_dictionary=False, data_page_size=1 << 30)
    size = pq.ParquetFile(io.BytesIO(sent)).metadata.row_group(0).column(0).total_uncompressed_size
    assert size > 7 * MB
    # The footer is made to promise a few bytes, as numbers of the same length.
    footer = len(sent) - 8 - int.from_bytes(sent[-8:-4], "little")
    lying = sent[:footer] + sent[footer:].replace(varint(size), varint(100, len(varint(size))))
    promised = pq.ParquetFile(io.BytesIO(lying)).metadata.row_group(0).column(0)
    assert promised.total_uncompressed_size == 100
    monkeypatch.setattr(parquet_sizes, "LARGEST_GROUP", 8 * MB)
    with pytest.raises(InvalidRecord, match="row group 0 holds more than 8388608"):
        through(lying, ".parquet")


def varint(number: int, length: int = 0) -> bytes:
    """A zigzag number of Thrift's compact protocol, of at least so many bytes."""
    number *= 2
    found = []
    while number >= 0x80 or len(found) + 1 < length:
        found.append(number & 0x7F | 0x80)
        number >>= 7
    return bytes([*found, number])


def test_more_pages_than_anybody_writes_are_refused(through, monkeypatch):
    sent = parquet(
        table_of(20_000, x=np.arange(20_000)), data_page_size=64, use_dictionary=["value"]
    )
    monkeypatch.setattr(parquet_sizes, "MOST_PAGES", 10)
    with pytest.raises(InvalidRecord, match="more than 10 pages"):
        through(sent, ".parquet")


def test_a_footer_too_large_is_not_read(through):
    sent = parquet(table_of(4))
    broken = sent[:-8] + (1 << 30).to_bytes(4, "little") + b"PAR1"
    with pytest.raises(InvalidRecord, match="its footer is too large"):
        through(broken, ".parquet")


def test_only_texts_that_repeat_themselves_are_read_as_dictionaries():
    rows = 10_000
    table = pa.table(
        {
            "customer": ["Harbour Cranes", "Quarry"] * (rows // 2),
            "number": [f"C-{place:09d}" for place in range(rows)],
            "value": np.arange(rows) % 2,
            "raw": [b"one", b"two"] * (rows // 2),
        }
    )
    assert checked(parquet(table)) == ["customer"]


def test_long_texts_are_read_as_dictionaries_however_seldom_they_repeat():
    # 3,000 bytes are more than the 2 KiB that may be repeated
    table = pa.table({"note": [f"{place % 90}" * 1_500 for place in range(100)]})
    assert checked(parquet(table)) == ["note"]
    assert checked(parquet(table, use_dictionary=False)) == []


def test_of_a_flat_column_only_the_rows_of_one_piece_are_counted(monkeypatch):
    # 100,000 numbers of 8 bytes in pages of 8 KiB: the largest page and 1,000 numbers are at most
    # 8,192 + 64 (the last number) + 8,000 bytes, all of them are 800,000.
    data = parquet(
        pa.table({"n": np.arange(100_000)}), use_dictionary=False, data_page_size=8 << 10
    )
    monkeypatch.setattr(parquet_sizes, "LARGEST_PIECE", 20_000)
    assert checked(data, rows_at_once=1_000) == []
    with pytest.raises(InvalidRecord, match="row group 0 needs more than 20000 bytes at once"):
        checked(data, rows_at_once=100_000)


def test_the_row_group_that_is_too_large_is_named(monkeypatch):
    # Groups of 1,000 rows hold 8,000 bytes and their levels, the last one of 2,000 rows 16,000.
    data = io.BytesIO()
    table = pa.table({"n": np.arange(2_000)})
    with pq.ParquetWriter(data, table.schema, use_dictionary=False, compression="none") as writer:
        for rows in (1_000, 1_000, 2_000):
            writer.write_table(table.slice(0, rows))
    monkeypatch.setattr(parquet_sizes, "LARGEST_GROUP", 8_100)
    with pytest.raises(InvalidRecord, match="row group 2 holds more than 8100 bytes"):
        checked(data.getvalue())


def test_more_columns_than_anybody_needs_are_refused():
    table = pa.table({f"n{place}": [1] for place in range(501)})
    with pytest.raises(InvalidRecord, match="there are 501 columns, more than 500"):
        checked(parquet(table))
    assert checked(parquet(table.select(table.column_names[:500]))) == []


def test_what_is_too_short_or_ends_otherwise_is_left_to_its_reader():
    # Parquet files end with the length of their footer and PAR1 (parquet-format, from memory).
    for data in (b"", b"PAR1", b"PAR1" + bytes(8)):
        with pytest.raises(pa.ArrowInvalid):
            opened(io.BytesIO(data))
