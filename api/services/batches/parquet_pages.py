"""What will the pages of a Parquet file weigh once they are unpacked? Read from their own headers.

The footer of a file may promise anything; memory is taken for what each page's header says. So the
headers are walked, page by page, before anything is unpacked. They are Thrift structures in the
compact protocol. Source: parquet-format, parquet.thrift (PageHeader) and Apache Thrift, "Thrift
compact protocol" (from memory; fields checked against files that were written here).

Not checked: the contents of a page. A reader that unpacks one into the size its header states fails
where the contents are larger.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

from api.services.batches.pieces import unreadable

MOST_PAGES = 200_000
_LONGEST_HEADER = 1 << 20
_WINDOW = 512
_DICTIONARY = 2
_DEEPEST = 16
# Fields of a page header, and of the headers of data pages within it.
_TYPE, _UNPACKED, _PACKED, _DATA, _DATA_V2, _VALUES = 1, 2, 3, 5, 8, 1


@dataclass(frozen=True, slots=True)
class Page:
    """One page: whether it is a dictionary, its bytes once unpacked, the values it stands for."""

    dictionary: bool
    size: int
    values: int


def pages_of(source: BinaryIO, chunk: Any) -> Iterator[Page]:
    """Yield the pages of a column chunk, given its metadata.

    Raises InvalidRecord for headers that cannot be read.
    """
    place = chunk.data_page_offset
    if chunk.has_dictionary_page and 0 < chunk.dictionary_page_offset < place:
        place = chunk.dictionary_page_offset
    end, values = place + chunk.total_compressed_size, 0
    # A reader stops there too.
    while place < end and values < chunk.num_values:
        header, length = _header_at(source, place)
        page = _page(header)
        packed = header.get(_PACKED)
        if page is None or not isinstance(packed, int) or packed < 0:
            raise _broken()
        yield page
        values += page.values
        place += length + packed


def _page(header: dict[int, Any]) -> Page | None:
    size = header.get(_UNPACKED)
    data = header.get(_DATA) or header.get(_DATA_V2) or {}
    values = data.get(_VALUES, 0)
    if not isinstance(size, int) or size < 0 or not isinstance(values, int) or values < 0:
        return None
    return Page(header.get(_TYPE) == _DICTIONARY, size, values)


def _header_at(source: BinaryIO, place: int) -> tuple[dict[int, Any], int]:
    """Return the header at a place and its length."""
    window = _WINDOW
    while window <= _LONGEST_HEADER:
        source.seek(place)
        data = source.read(window)
        reader = _Reader(data)
        try:
            return reader.structure(0), reader.place
        except IndexError:
            if len(data) < window:
                break
            window *= 8
    raise _broken()


def _broken() -> Exception:
    return unreadable("Parquet", "the header of a page is broken", "send a whole Parquet file")


class _Reader:
    """Reads Thrift's compact protocol; raises IndexError where the data end."""

    def __init__(self, data: bytes) -> None:
        self.data, self.place = data, 0

    def structure(self, depth: int) -> dict[int, Any]:
        """Read a structure: its fields by id."""
        if depth > _DEEPEST:
            raise _broken()
        found: dict[int, Any] = {}
        field = 0
        while head := self._byte():
            step = head >> 4
            field = field + step if step else self._signed()
            found[field] = self._value(head & 0x0F, depth)
        return found

    def _value(self, kind: int, depth: int) -> Any:
        if kind in (1, 2):
            return kind == 1
        if kind == 3:
            return self._byte()
        if kind in (4, 5, 6):
            return self._signed()
        if kind == 7:
            return self._bytes(8)
        if kind == 8:
            return self._bytes(self._varint())
        if kind == 12:
            return self.structure(depth + 1)
        # Lists, sets and maps: no page header has one.
        raise _broken()

    def _byte(self) -> int:
        found = self.data[self.place]
        self.place += 1
        return found

    def _bytes(self, length: int) -> bytes:
        if length > len(self.data) - self.place:
            raise IndexError
        self.place += length
        return self.data[self.place - length : self.place]

    def _varint(self) -> int:
        found = shift = 0
        while shift < 64:
            byte = self._byte()
            found |= (byte & 0x7F) << shift
            if byte < 0x80:
                return found
            shift += 7
        raise _broken()

    def _signed(self) -> int:
        found = self._varint()
        return (found >> 1) ^ -(found & 1)
