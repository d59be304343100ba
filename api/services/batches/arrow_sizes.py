"""How large will a table of Arrow be once it is unpacked? Read from its headers, before it is.

Choice: bounds on rows for each byte, on a record batch, on dictionaries and on the texts of a
piece; types in which few bytes may stand for any number of values are refused. Arrow messages are
flatbuffers; the few offsets that tell the sizes are read here, because no reader tells them before
it unpacks. Source: Apache Arrow columnar format, "Encapsulated message format" and the schemas
Message.fbs (read in its documentation; slots checked against real streams).

Not checked: the contents.
"""

from __future__ import annotations

import os
import struct
from typing import BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from api.errors import InvalidRecord
from api.services.batches.pieces import unreadable

LARGEST_BATCH = 256 << 20
_LONGEST_TEXT = 1 << 16
_DEEPEST = 16
_ROWS_ANYWAY, _ROWS_PER_BYTE = 1_000_000, 100
_REMEDY = "send it in smaller parts, or as CSV"
# Slots of the flatbuffer tables Message, DictionaryBatch and RecordBatch.
_HEADER_TYPE, _HEADER = 1, 2
_DICTIONARY, _RECORD_BATCH = 2, 3
_DATA = 1
_LENGTH, _BUFFERS, _COMPRESSION = 0, 2, 3


def is_text(kind: pa.DataType) -> bool:
    """Say whether a column holds text."""
    types = pa.types
    return bool(types.is_string(kind) or types.is_large_string(kind) or _is_view(kind))


def check_types(schema: pa.Schema) -> None:
    """Refuse columns that stand for more than they hold, where no reader can tell how much."""
    for field in schema:
        kind = field.type
        if pa.types.is_dictionary(kind):
            kind = kind.value_type
            if not (is_text(kind) or pa.types.is_primitive(kind) or pa.types.is_decimal(kind)):
                raise _strange(field.name, "a dictionary of something else than texts and numbers")
        elif not _is_view(kind):
            why = _overlapping(kind, 0)
            if why:
                raise _strange(field.name, why)


def _overlapping(kind: pa.DataType, depth: int) -> str | None:
    """Say what in a type lets few bytes stand for many values, None if nothing does."""
    types = pa.types
    if depth > _DEEPEST:
        return "nested too deep"
    if isinstance(kind, pa.BaseExtensionType):
        return _overlapping(kind.storage_type, depth + 1)
    if types.is_run_end_encoded(kind):
        return "run-end encoded"
    if types.is_list_view(kind) or types.is_large_list_view(kind) or types.is_binary_view(kind):
        return "a view"
    if depth and (types.is_dictionary(kind) or _is_view(kind)):
        return "a dictionary or view within another type"
    if depth and (types.is_null(kind) or (types.is_struct(kind) and not kind.num_fields)):
        return "nothing, any number of times"
    if types.is_nested(kind):
        inner = (kind.field(place).type for place in range(kind.num_fields))
        return next((why for one in inner if (why := _overlapping(one, depth + 1))), None)
    return None


def _is_view(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string_view(kind))


def _strange(name: str, why: str) -> InvalidRecord:
    return unreadable("table", f"the column {name!r} is {why}", "write it as a plain column")


def check_stream(source: BinaryIO) -> None:
    """Read through a stream without unpacking; refuse one whose batches would not fit."""
    size, rows, dictionaries = size_of(source), 0, 0
    for message in pa.ipc.MessageReader.open_stream(source):
        try:
            length, unpacked = _sizes(message)
            dictionaries += 0 if message.type == "record batch" else unpacked
        except (struct.error, IndexError) as error:
            raise unreadable(
                "Arrow stream", f"a broken message ({error})", "send it whole"
            ) from None
        rows += length
        check_rows("Arrow stream", rows, size)
        if dictionaries > LARGEST_BATCH:
            why = f"its dictionaries hold more than {LARGEST_BATCH} bytes"
            raise unreadable("Arrow stream", why, "write it with smaller dictionaries")
        if unpacked > LARGEST_BATCH:
            why = f"a record batch holds {unpacked} bytes, more than {LARGEST_BATCH}"
            raise unreadable("Arrow stream", why, "write it with smaller record batches")


def check_texts(batch: pa.RecordBatch) -> None:
    """Refuse a piece whose texts, unpacked, would not fit."""
    total = 0
    for name, column in zip(batch.schema.names, batch.columns, strict=True):
        packed = pa.types.is_dictionary(column.type)
        values = column.dictionary if packed else column
        if not is_text(values.type) or not len(values):
            continue
        lengths = _lengths_of(values)
        if (pc.max(lengths).as_py() or 0) > _LONGEST_TEXT:
            why = f"a cell of {name!r} is longer than {_LONGEST_TEXT} bytes"
            raise unreadable("table", why, "shorten it")
        total += pc.sum(lengths.take(column.indices) if packed else lengths).as_py() or 0
    if total > LARGEST_BATCH:
        raise unreadable("table", f"its texts hold {total} bytes in {len(batch)} rows", _REMEDY)


def _lengths_of(texts: pa.Array) -> pa.Array:
    """Return the bytes of each text; those of views, which may share them, are not copied."""
    if not _is_view(texts.type):
        return pc.binary_length(texts)
    # A view is 16 bytes, the first four its length.
    heads = np.frombuffer(texts.buffers()[1], np.int32).reshape(-1, 4)
    lengths = heads[texts.offset : texts.offset + len(texts), 0]
    return pc.if_else(texts.is_valid(), pa.array(lengths), None)


def check_rows(kind: str, rows: int, size: int) -> None:
    """Refuse more rows than so many bytes can honestly stand for."""
    if rows > _ROWS_ANYWAY + _ROWS_PER_BYTE * size:
        raise unreadable(kind, f"{size} bytes stand for {rows} rows", _REMEDY)


def size_of(source: BinaryIO) -> int:
    """Return the bytes of a file, and leave its place."""
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
