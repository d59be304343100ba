"""Headers of Parquet pages, read without unpacking: what a writer wrote, and what nobody writes.

Headers made by hand follow the Thrift compact protocol (from memory): a field is one byte, the
step of its id and its type (5: i32, 8: binary, 9: list, 12: structure); whole numbers are zigzag
varints (5 is 0x0a, -1 is 0x01); a structure ends with 0. Fields of PageHeader in parquet.thrift
(from memory): 1 type, 2 unpacked size, 3 packed size, 5 DataPageHeader, whose field 1 counts the
values.
"""

from __future__ import annotations

import io
from types import SimpleNamespace

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from api.errors import InvalidRecord
from api.services.batches.parquet_pages import Page, pages_of

# type 0 (data), 20 bytes unpacked, 0 bytes packed, {5 values}
PLAIN = bytes.fromhex("1500 1528 1500 2c 150a 00 00")


def pages(data: bytes, values: int, place: int = 0) -> list[Page]:
    """Pages of a column chunk that begins at a place and goes on to the end of the data."""
    chunk = SimpleNamespace(
        data_page_offset=place,
        has_dictionary_page=False,
        total_compressed_size=len(data) - place,
        num_values=values,
    )
    return list(pages_of(io.BytesIO(data), chunk))


def parquet(table: pa.Table, **options) -> bytes:
    sink = io.BytesIO()
    pq.write_table(table, sink, **{"store_schema": False, "compression": "zstd", **options})
    return sink.getvalue()


@pytest.mark.parametrize("compression", ["none", "snappy", "gzip", "zstd", "lz4", "brotli"])
@pytest.mark.parametrize("version", ["1.0", "2.0"])
@pytest.mark.parametrize("use_dictionary", [True, False])
def test_pages_are_read_as_they_were_written(compression, version, use_dictionary):
    table = pa.table(
        {
            "number": np.arange(20_000) % 777,
            "text": [f"{place % 500:03d}" * 5 for place in range(20_000)],
            "list": [[place, place] for place in range(20_000)],
        }
    )
    options = {"use_dictionary": use_dictionary, "data_page_version": version}
    source = io.BytesIO(
        parquet(
            table, compression=compression, row_group_size=8_000, data_page_size=2_048, **options
        )
    )
    metadata = pq.ParquetFile(source).metadata
    for group in range(metadata.num_row_groups):
        for place in range(metadata.num_columns):
            chunk = metadata.row_group(group).column(place)
            pages = list(pages_of(source, chunk))
            assert len(pages) > 2
            assert sum(page.values for page in pages) == chunk.num_values
            assert sum(page.dictionary for page in pages) == chunk.has_dictionary_page
            # The metadata count the headers of the pages too.
            assert 0 < chunk.total_uncompressed_size - sum(p.size for p in pages) < 200 * len(pages)


def test_a_header_made_by_hand_is_read():
    assert pages(PLAIN, 5) == [Page(False, 20, 5)]
    assert pages(b"PAR1" + PLAIN, 5, place=4) == [Page(False, 20, 5)]


def test_packed_bytes_between_headers_are_passed_over():
    # 3 bytes packed: 0x06
    page = bytes.fromhex("1500 1528 1506 2c 150a 00 00") + b"xyz"
    assert pages(page * 3, 15) == [Page(False, 20, 5)] * 3


def test_what_stands_behind_the_last_value_is_not_read():
    assert len(pages(PLAIN + b"\xff" * 9, 5)) == 1


def test_a_dictionary_is_a_page_that_stands_for_no_rows():
    # type 2; a DictionaryPageHeader is field 7: its step from 3 is 4
    dictionary = bytes.fromhex("1504 1528 1500 4c 1506 00 00")
    assert pages(dictionary + PLAIN, 5) == [Page(True, 20, 0), Page(False, 20, 5)]


def test_a_field_may_name_its_id_in_full_and_unknown_ones_are_passed_over():
    # 0x05 0x02: an i32 whose id, zigzag 2, is 1; then a true (type 1) and 600 bytes (type 8) that
    # make the header longer than the first look at it
    long = bytes.fromhex("0502 00 1528 1500 2c 150a 00 41 18 d804") + b"x" * 600 + b"\0"
    assert pages(long, 5) == [Page(False, 20, 5)]


@pytest.mark.parametrize(
    "header",
    [
        "1500 1501 1500 2c 150a 00 00",  # -1 bytes unpacked
        "1500 1528 1501 2c 150a 00 00",  # -1 bytes packed: it would be read for ever
        "1500 1528 1500 2c 1501 00 00",  # -1 values
        "1500 1528 2c 150a 00 00",  # no packed size
        "1500 1500 19 15 00",  # a list
        "1500 15 ffffffffffffffffffffff01",  # a number longer than 64 bits
        "1500 1528 1500 18 ffffffff0f",  # 4 GiB of text
        "1500 1528",  # cut off
        "1c" * 20 + "00" * 21,  # structures in structures
        "00",  # nothing at all
    ],
)
def test_a_header_that_no_writer_writes_is_refused(header):
    with pytest.raises(InvalidRecord, match="the header of a page is broken") as refused:
        pages(bytes.fromhex(header), 5)
    assert refused.value.issues[0].remedy


def test_a_broken_page_header_of_a_file_is_refused(through):
    sent = parquet(pa.table({"value": [1.0] * 4, "U": [1.0] * 4}), use_dictionary=False)
    broken = sent[:4] + b"\xff" * 40 + sent[44:]
    with pytest.raises(InvalidRecord, match="cannot be read"):
        through(broken, ".parquet")
