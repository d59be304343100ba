"""How large will a packed batch be once it is unpacked? Read from its headers, before it is.

Choice: bounds on rows for each byte, on a row group, on a record batch and on the texts of a piece.
Arrow messages are flatbuffers; the few offsets that tell the sizes are read here, because no reader
tells them before it unpacks. Source: Apache Arrow columnar format, "Encapsulated message format"
and the schemas Message.fbs (read in its documentation; slots checked against real streams).

Not checked: the contents.
"""

from __future__ import annotations

import os
import struct
from typing import BinaryIO

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from api.services.batch_pieces import unreadable

LARGEST_GROUP = 1 << 30
LARGEST_BATCH = 256 << 20
_LONGEST_TEXT = 1 << 16
# Bytes a row below which a column repeats itself, and the longest text that may be repeated.
_PACKED, _LONG_TEXT = 4, 1 << 11
_ROWS_ANYWAY, _ROWS_PER_BYTE = 1_000_000, 100
_REMEDY = "send it in smaller parts, or as CSV"
# Slots of the flatbuffer tables Message, DictionaryBatch and RecordBatch.
_HEADER_TYPE, _HEADER = 1, 2
_DICTIONARY, _RECORD_BATCH = 2, 3
_DATA = 1
_LENGTH, _BUFFERS, _COMPRESSION = 0, 2, 3


def is_text(kind: pa.DataType) -> bool:
    """Say whether a column holds text."""
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def check_parquet(metadata: pq.FileMetaData, source: BinaryIO) -> None:
    """Refuse a file whose metadata promise more than fits."""
    _check_rows("Parquet", metadata.num_rows, _size(source))
    for group in range(metadata.num_row_groups):
        size = metadata.row_group(group).total_byte_size
        if size > LARGEST_GROUP:
            why = f"row group {group} holds {size} bytes, more than {LARGEST_GROUP}"
            raise unreadable("Parquet", why, "write it with smaller row groups")


def packed_texts(file: pq.ParquetFile, source: BinaryIO) -> list[str]:
    """Return the columns of text to be read as dictionaries, in which each text stands once.

    These are the ones that repeat themselves, which is quicker too, and those with a text so long
    that repeating it would fill the memory.
    """
    metadata, found = file.metadata, []
    for place in range(metadata.num_columns):
        chunks = [
            (group, metadata.row_group(group).column(place))
            for group in range(metadata.num_row_groups)
        ]
        name = metadata.schema.column(place).path
        texts = name in file.schema_arrow.names and is_text(file.schema_arrow.field(name).type)
        packed = [(group, chunk) for group, chunk in chunks if chunk.has_dictionary_page]
        if not texts or not packed:
            continue
        size = sum(chunk.total_uncompressed_size for _, chunk in packed)
        rows = sum(chunk.num_values for _, chunk in packed)
        if size < _PACKED * rows or _longest_in(source, name, [g for g, _ in packed]) > _LONG_TEXT:
            found.append(name)
    return found


def _longest_in(source: BinaryIO, name: str, groups: list[int]) -> int:
    """Return the length of the longest text in a column's dictionaries."""
    longest = 0
    for group in groups:
        file = pq.ParquetFile(source, read_dictionary=[name])
        batch = next(file.iter_batches(1, row_groups=[group], columns=[name]), None)
        if batch is not None:
            length = pc.max(pc.binary_length(batch.column(0).dictionary)).as_py()
            longest = max(longest, length or 0)
    return longest


def check_stream(source: BinaryIO) -> None:
    """Read through a stream without unpacking; refuse one whose batches would not fit."""
    size, rows = _size(source), 0
    for message in pa.ipc.MessageReader.open_stream(source):
        try:
            length, unpacked = _sizes(message)
        except (struct.error, IndexError) as error:
            raise unreadable(
                "Arrow stream", f"a broken message ({error})", "send it whole"
            ) from None
        rows += length
        _check_rows("Arrow stream", rows, size)
        if unpacked > LARGEST_BATCH:
            why = f"a record batch holds {unpacked} bytes, more than {LARGEST_BATCH}"
            raise unreadable("Arrow stream", why, "write it with smaller record batches")


def check_texts(batch: pa.RecordBatch) -> None:
    """Refuse a piece whose texts, unpacked, would not fit."""
    total = 0
    for name, column in zip(batch.schema.names, batch.columns, strict=True):
        if pa.types.is_run_end_encoded(column.type):
            raise unreadable("table", f"the column {name!r} is run-end encoded", "unpack it")
        packed = pa.types.is_dictionary(column.type)
        values = column.dictionary if packed else column
        if not is_text(values.type) or not len(values):
            continue
        lengths = pc.binary_length(values)
        if (pc.max(lengths).as_py() or 0) > _LONGEST_TEXT:
            why = f"a cell of {name!r} is longer than {_LONGEST_TEXT} bytes"
            raise unreadable("table", why, "shorten it")
        total += pc.sum(lengths.take(column.indices) if packed else lengths).as_py() or 0
    if total > LARGEST_BATCH:
        raise unreadable("table", f"its texts hold {total} bytes in {len(batch)} rows", _REMEDY)


def _check_rows(kind: str, rows: int, size: int) -> None:
    if rows > _ROWS_ANYWAY + _ROWS_PER_BYTE * size:
        raise unreadable(kind, f"{size} bytes stand for {rows} rows", _REMEDY)


def _size(source: BinaryIO) -> int:
    place = source.tell()
    size = source.seek(0, os.SEEK_END)
    source.seek(place)
    return size


def _sizes(message: pa.Message) -> tuple[int, int]:
    """Return the rows of a message and the bytes of its buffers once they are unpacked."""
    data = message.metadata.to_pybytes()
    root = _at("<I", data, 0)
    kind = _slot(data, root, _HEADER_TYPE)
    kind = data[kind] if kind else 0
    if kind not in (_DICTIONARY, _RECORD_BATCH):
        return 0, 0
    table = _follow(data, _slot(data, root, _HEADER))
    if kind == _DICTIONARY:
        table = _follow(data, _slot(data, table, _DATA))
    length = _slot(data, table, _LENGTH)
    rows = _at("<q", data, length) if length and kind == _RECORD_BATCH else 0
    buffers = _slot(data, table, _BUFFERS)
    if not buffers or not _slot(data, table, _COMPRESSION):
        return rows, message.body.size if message.body else 0
    vector = _follow(data, buffers)
    total = 0
    for place in range(vector + 4, vector + 4 + 16 * _at("<I", data, vector), 16):
        offset, packed = struct.unpack_from("<qq", data, place)
        if packed:
            unpacked = struct.unpack_from("<q", message.body.slice(offset, 8).to_pybytes())[0]
            # -1 says that packing would not have made it smaller.
            total += packed if unpacked < 0 else unpacked
    return rows, total


def _at(form: str, data: bytes, place: int) -> int:
    found: int = struct.unpack_from(form, data, place)[0]
    return found


def _follow(data: bytes, place: int) -> int:
    return place + _at("<I", data, place)


def _slot(data: bytes, table: int, index: int) -> int:
    """Return where a field of a flatbuffer table is, 0 if it is absent."""
    names = table - _at("<i", data, table)
    entry = 4 + 2 * index
    offset = _at("<H", data, names + entry) if entry < _at("<H", data, names) else 0
    return table + offset if offset else 0
