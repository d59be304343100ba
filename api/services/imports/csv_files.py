"""A CSV file of a spreadsheet, row by row, with the row's number as the spreadsheet shows it.

Choice: RFC 4180 with any one separator; UTF-8, with or without a byte order mark, and nothing else,
since a wrong guess of an encoding would change names in silence. Cells are text, without the spaces
around them; whatever they begin with is data. A quotation mark out of place makes the rest of a
file doubtful, so the file is refused at that row; a row of a wrong length is given with its fault.

Not checked here: what any cell means.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import BinaryIO, NamedTuple

from api.errors import InvalidRecord, Issue

# In one import, once for each table that reads them: about 1.5 kB of memory is needed for each.
MOST_ROWS = 500_000
MOST_COLUMNS = 500
LONGEST_CELL = 32_767  # what a cell of a spreadsheet holds; from memory, verify
_LONGEST_LINE = 16 << 20
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")
_BOM = b"\xef\xbb\xbf"


class Row(NamedTuple):
    """One row: its number (the first one of the file is 1), the line it begins on and its cells."""

    number: int
    line: int
    cells: Sequence[str]
    fault: str | None = None


class UnreadableFile(InvalidRecord):
    """A file that cannot be read as CSV; nothing was stored."""

    code = "invalid-record"

    def __init__(self, file: str, detail: str, remedy: str, **at: int) -> None:
        where = "".join(f", {name} {value}" for name, value in at.items())
        issue = Issue("", detail, remedy, None, {"file": file, **at})
        super().__init__(f"{file}{where}: {detail}.", [issue])


@dataclass(slots=True)
class CsvFile:
    """A file that was sent; `heading` is read first, `rows` as often as need be."""

    name: str
    source: BinaryIO
    separator: str = ","
    heading_row: int = 1

    def heading(self) -> list[str]:
        """Return the names of the columns; those without one are empty."""
        for row in self._rows():
            if row.number == self.heading_row:
                cells = list(row.cells)
                while cells and not cells[-1]:
                    cells.pop()
                return self._checked(cells)
        raise self._unreadable(
            f"there is no heading in row {self.heading_row}",
            "send a heading and one row for each record",
        )

    def rows(self, width: int) -> Iterator[Row]:
        """Rows behind the heading; those without any text are passed over."""
        for row in self._rows():
            if row.number <= self.heading_row or not any(row.cells):
                continue
            cells, surplus = row.cells[:width], row.cells[width:]
            fault = None
            if len(cells) < width or any(surplus):
                fault = f"the row has {len(row.cells)} cells, the heading {width}"
            yield row._replace(cells=cells, fault=fault)

    def _checked(self, cells: list[str]) -> list[str]:
        if not any(cells):
            raise self._unreadable("its heading is empty", "name the columns", row=self.heading_row)
        if len(cells) > MOST_COLUMNS:
            detail = f"it has {len(cells)} columns, more than {MOST_COLUMNS}"
            raise self._unreadable(detail, "leave out the columns that are not needed")
        other = next((s for s in (";", "\t", ",") if s != self.separator and s in cells[0]), None)
        if len(cells) == 1 and other is not None:
            detail = f"its cells are not separated by {self.separator!r}"
            raise self._unreadable(detail, f'say "separator": {other!r} in the mapping')
        return cells

    def _rows(self) -> Iterator[Row]:
        self.source.seek(0)
        reader = csv.reader(self._lines(), delimiter=self.separator, strict=True)
        number = 0
        while True:
            number, line = number + 1, reader.line_num + 1
            try:
                cells = [cell.strip() for cell in next(reader)]
            except StopIteration:
                return
            except csv.Error as error:
                raise self._of_reader(error, number, line) from None
            if any(len(cell) > LONGEST_CELL for cell in cells):
                raise self._too_long(number, line)
            yield Row(number, line, cells)

    def _of_reader(self, error: csv.Error, number: int, line: int) -> UnreadableFile:
        if "field limit" in str(error):
            return self._too_long(number, line)
        detail, remedy = f"the row cannot be read: {error}", "close every quotation mark"
        if "new-line" in str(error):
            detail, remedy = "a line end stands alone", "save it with the usual line ends"
        return self._unreadable(detail, remedy, row=number, line=line)

    def _too_long(self, number: int, line: int) -> UnreadableFile:
        detail = f"a cell is longer than {LONGEST_CELL} characters"
        return self._unreadable(detail, "shorten it", row=number, line=line)

    def _lines(self) -> Iterator[str]:
        number = 0
        while read := self.source.readline(_LONGEST_LINE + 1):
            number += 1
            if number == 1:
                if read.startswith(_UTF_16):
                    raise self._unreadable("it is UTF-16, not UTF-8", 'save it as "CSV UTF-8"')
                read = read.removeprefix(_BOM)
            if len(read) > _LONGEST_LINE:
                detail = f"a line is longer than {_LONGEST_LINE >> 20} MiB"
                raise self._unreadable(detail, "save it as CSV", line=number)
            try:
                text = read.decode()
            except UnicodeDecodeError as error:
                detail = f"not UTF-8 at the byte 0x{read[error.start]:02X}"
                raise self._unreadable(detail, 'save it as "CSV UTF-8"', line=number) from None
            if "\0" in text:
                raise self._unreadable("a NUL character", "save it as CSV", line=number)
            yield text

    def _unreadable(self, detail: str, remedy: str, **at: int) -> UnreadableFile:
        return UnreadableFile(self.name, detail, remedy, **at)
