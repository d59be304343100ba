"""How large will a Parquet file be once it is unpacked? Found out before it is.

Choice: bounds on the footer, on rows for each byte, on what a row group holds and on what a piece
needs at once: the largest page of each column, its dictionary, and its values. A value that stands
once in a dictionary and is meant a million times is counted a million times, unless the column is
text and read as a dictionary.

Not checked: the contents.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import BinaryIO

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from api.services.batches.arrow_sizes import check_rows, check_types, is_text, size_of
from api.services.batches.parquet_pages import MOST_PAGES, Page, pages_of
from api.services.batches.pieces import check_count, unreadable

LARGEST_FOOTER = 16 << 20
LARGEST_GROUP = 1 << 30
LARGEST_PIECE = 512 << 20
# Bytes a row below which a column repeats itself, and the longest text that may be repeated.
_PACKED, _LONG_TEXT = 4, 1 << 11
# What repeated texts of one column may take at most, so that many columns may.
_REPEATED = 16 << 20
_WIDTHS = {"BOOLEAN": 1, "INT32": 4, "INT64": 8, "INT96": 12, "FLOAT": 4, "DOUBLE": 8}
_REMEDY = "write it with smaller row groups and pages, or send CSV"


def opened(source: BinaryIO) -> pq.ParquetFile:
    """Open a file whose footer is not too large to be read."""
    source.seek(max(0, size_of(source) - 8))
    tail = source.read(8)
    if len(tail) == 8 and struct.unpack("<I", tail[:4])[0] > LARGEST_FOOTER:
        raise unreadable("Parquet", "its footer is too large", _REMEDY)
    source.seek(0)
    return pq.ParquetFile(
        source, thrift_string_size_limit=LARGEST_FOOTER, thrift_container_size_limit=100_000
    )


def check_parquet(file: pq.ParquetFile, source: BinaryIO, rows_at_once: int) -> list[str]:
    """Refuse a file that would not fit; return the columns of text to be read as dictionaries.

    These are the ones that repeat themselves, which is quicker too, and those with texts so long
    that repeating them would fill the memory.
    """
    metadata = file.metadata
    check_types(file.schema_arrow)
    check_count([metadata.schema.column(place).path for place in range(metadata.num_columns)])
    groups = [metadata.row_group(number) for number in range(metadata.num_row_groups)]
    rows = max(metadata.num_rows, sum(group.num_rows for group in groups))
    check_rows("Parquet", rows, size_of(source))
    budget = _Budget(file, source, rows_at_once)
    for number in range(len(groups)):
        budget.check(number)
    return sorted(budget.packed)


class _Budget:
    """Adds up what the row groups of a file hold and need."""

    def __init__(self, file: pq.ParquetFile, source: BinaryIO, rows_at_once: int) -> None:
        self.file, self.source, self.rows_at_once = file, source, rows_at_once
        self.packed: set[str] = set()
        self.pages = 0

    def check(self, number: int) -> None:
        """Refuse a row group that holds or needs too much."""
        held = needed = 0
        for place in range(self.file.metadata.num_columns):
            pages = self._pages(number, place)
            held += sum(page.size for page in pages)
            if held > LARGEST_GROUP:
                why = f"row group {number} holds more than {LARGEST_GROUP} bytes"
                raise unreadable("Parquet", why, _REMEDY)
            needed += max((page.size for page in pages if not page.dictionary), default=0)
            needed += sum(page.size for page in pages if page.dictionary)
            self._refuse(number, needed)
            needed += self._values(number, place, pages)
            self._refuse(number, needed)

    def _pages(self, number: int, place: int) -> list[Page]:
        chunk = self.file.metadata.row_group(number).column(place)
        left = MOST_PAGES - self.pages
        pages = list(islice(pages_of(self.source, chunk), left + 1))
        self.pages += len(pages)
        if len(pages) > left:
            raise unreadable("Parquet", f"it has more than {MOST_PAGES} pages", _REMEDY)
        return pages

    def _refuse(self, number: int, needed: int) -> None:
        if needed > LARGEST_PIECE:
            why = f"row group {number} needs more than {LARGEST_PIECE} bytes at once"
            raise unreadable("Parquet", why, _REMEDY)

    def _values(self, number: int, place: int, pages: list[Page]) -> int:
        """Return the bytes of the values of a column that are read at once."""
        column = self.file.schema.column(place)
        flat = column.max_repetition_level == 0
        data = [page for page in pages if not page.dictionary]
        values = sum(page.values for page in data)
        at_once = min(values, self.rows_at_once) if flat else values
        # Places in lists stand beside the values.
        beside = 0 if flat else 8 * at_once
        if column.physical_type != "BYTE_ARRAY":
            width: int = _WIDTHS.get(column.physical_type, column.length)
            return beside + at_once * width
        self._refuse(number, beside)
        beside += _most_at_once(data, self.rows_at_once) if flat else sum(p.size for p in data)
        if len(data) == len(pages):
            return beside
        longest = _longest_in(self.source, column.path, number, pages)
        schema = self.file.schema_arrow
        if column.path in schema.names and is_text(schema.field(column.path).type):
            repeats = sum(page.size for page in pages) < _PACKED * values
            if repeats or longest > _LONG_TEXT or at_once * longest > _REPEATED:
                self.packed.add(column.path)
                return beside
        return beside + at_once * longest


def _most_at_once(pages: Iterable[Page], rows: int) -> int:
    """Return the most bytes that the pages of so many rows in a row can have."""
    window: list[Page] = []
    most = values = size = 0
    for page in pages:
        window.append(page)
        values, size = values + page.values, size + page.size
        # The rows may begin with the last value of the first page and end in the last one.
        while len(window) > 2 and values - window[0].values - page.values >= rows:
            first = window.pop(0)
            values, size = values - first.values, size - first.size
        most = max(most, size)
    return most


def _longest_in(source: BinaryIO, path: str, group: int, pages: list[Page]) -> int:
    """Return the length of the longest value in a column's dictionary.

    Where the reader does not give the dictionary, no value is longer than all of it.
    """
    file = pq.ParquetFile(source, read_dictionary=[path])
    batch = next(file.iter_batches(1, row_groups=[group], columns=[path]), None)
    columns = [] if batch is None else batch.columns
    lengths: list[int] = [length for column in columns for length in _lengths(column)]
    return max(lengths, default=sum(page.size for page in pages if page.dictionary))


def _lengths(array: pa.Array) -> Iterator[int]:
    kind = array.type
    if pa.types.is_dictionary(kind):
        yield pc.max(pc.binary_length(array.dictionary)).as_py() or 0
    elif pa.types.is_struct(kind):
        for place in range(kind.num_fields):
            yield from _lengths(array.field(place))
    elif pa.types.is_map(kind):
        yield from _lengths(array.keys)
        yield from _lengths(array.items)
    elif pa.types.is_nested(kind):
        yield from _lengths(array.values)
