"""Results as CSV (RFC 4180, UTF-8), in and out, piece by piece.

Choice: blocks of whole rows are parsed as text by a columnar reader. It is believed only if the
marks between cells are as many as the rows need, because it fills short rows up in silence; a block
where they are not is read again row by row, so that a row of a wrong length, or with quotation
marks where they do not belong, comes back with its line and reason and harms no other. In what goes
out, text that a spreadsheet would run as a formula gets an apostrophe in front.

Not checked: what the columns that are only passed through mean. A quotation mark that is never
closed costs the rows up to the longest cell allowed, which are reported as one.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice
from typing import Any, BinaryIO, cast

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.services.base.formulas import neutral_column
from api.services.batches.pieces import Drain, Piece, check_heading, unreadable

BLOCK = 5 << 20
# Cells of a piece whose rows are filled up.
CELLS = 2_000_000
# A cell may be so long at most: that of the row reader, csv.field_size_limit().
_LONGEST_ROW = 4 * BLOCK
_COMMA, _NEWLINE, _QUOTE = b',\n"'
_AROUND = np.frombuffer(b',\n"', np.uint8)

Bytes = NDArray[np.uint8]
# Line, cells and fault of a row.
_Row = tuple[int, list[str], tuple[str, str] | None]


def read_csv(source: BinaryIO) -> Iterator[Piece]:
    """Read pieces; the first one is there, without rows, even if there is but a heading.

    Raises InvalidRecord for what is not UTF-8, has a NUL character or no usable heading.
    """
    blocks = _blocks(source)
    first = next(blocks, b"")
    rows = csv.reader(io.StringIO(_decoded(first), newline=""))
    try:
        heading = [name.strip() for name in next((row for row in rows if row), [])]
    except csv.Error as error:
        raise unreadable("CSV", str(error), "close every quotation mark") from None
    if not heading:
        raise unreadable("CSV", "it is empty", "send a heading line and one line for each result")
    if len(heading) == 1 and ";" in heading[0]:
        raise unreadable("CSV", "its cells are not separated by commas", "use commas")
    check_heading(heading)
    line, rest = rows.line_num + 1, _without_lines(first, rows.line_num)
    for block in chain([rest], blocks):
        yield from _parsed(block, heading, line)
        line += int(np.count_nonzero(np.frombuffer(block, np.uint8) == _NEWLINE))


def _without_lines(block: bytes, count: int) -> bytes:
    start = 0
    for _ in range(count):
        start = block.find(b"\n", start) + 1
    return block[start:]


def _blocks(source: BinaryIO) -> Iterator[bytes]:
    """Yield blocks of whole rows, line ends as line feeds, the last one always with its own."""
    kept, more = source.read(3).removeprefix(b"\xef\xbb\xbf"), True
    while more:
        read = source.read(BLOCK)
        more = bool(read)
        block = kept + read
        held = b"\r" if more and block.endswith(b"\r") else b""
        if b"\r" in block:
            block = block.removesuffix(held).replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        if not more:
            block = block.rstrip(b"\n") + b"\n" if block.strip(b"\n") else b""
        if b"\0" in block:
            raise unreadable("CSV", "it holds a NUL character", "save it as CSV")
        end = _end_of_rows(block) if more else len(block)
        if not end and len(block) >= _LONGEST_ROW:
            end = block.rfind(b"\n") + 1 or len(block)
        kept = block[end:] + held
        if end:
            yield block[:end]


def _end_of_rows(block: bytes) -> int:
    """Return where the last whole row of a block ends."""
    if b'"' not in block:
        return block.rfind(b"\n") + 1
    data = np.frombuffer(block, np.uint8)
    ends = np.flatnonzero(data == _NEWLINE)
    outside = np.searchsorted(np.flatnonzero(data == _QUOTE), ends) % 2 == 0
    return int(ends[outside][-1]) + 1 if outside.any() else 0


def _parsed(block: bytes, heading: Sequence[str], line: int) -> Iterator[Piece]:
    data = np.frombuffer(block, np.uint8)
    quoted = b'"' in block
    newlines, commas = data == _NEWLINE, data == _COMMA
    if quoted:
        outside = ~np.bitwise_xor.accumulate(data == _QUOTE)
        newlines, commas = newlines & outside, commas & outside
    rows = int(np.count_nonzero(newlines))
    # An empty line has no commas, so it is noticed too.
    regular = int(np.count_nonzero(commas)) == rows * (len(heading) - 1)
    if not regular or (quoted and not _well_quoted(data)):
        yield from _row_by_row(block, heading, line)
        return
    kinds = dict.fromkeys(heading, pl.String)
    try:
        frame = pl.read_csv(
            block, has_header=False, schema=kinds, quote_char='"' if quoted else None
        )
    except pl.exceptions.PolarsError:
        frame = None
    if frame is None or frame.height != rows:
        # The row reader finds out which row it is.
        yield from _row_by_row(block, heading, line)
        return
    lines = _lines(data, np.flatnonzero(newlines), line) if quoted else range(line, line + rows)
    # Columns in one part each are quicker to work with than the parts that the reader made.
    yield Piece(frame.rechunk(), lines, plain=not quoted)


def _well_quoted(data: Bytes) -> bool:
    """Say whether quotation marks stand only around whole cells, or doubled within them."""
    marks = np.flatnonzero(data == _QUOTE)
    if len(marks) % 2:
        return False
    opening, closing = marks[::2], marks[1::2]
    before = data[opening[opening > 0] - 1]
    return bool(np.isin(before, _AROUND).all() and np.isin(data[closing + 1], _AROUND).all())


def _lines(data: Bytes, ends: NDArray[np.intp], line: int) -> Sequence[int]:
    """Return the line on which each row begins; a quoted cell may hold line ends."""
    before = np.searchsorted(np.flatnonzero(data == _NEWLINE), ends)
    found: list[int] = (line + np.concatenate(([0], before[:-1] + 1))).tolist()
    return found


def _row_by_row(block: bytes, heading: Sequence[str], line: int) -> Iterator[Piece]:
    """Read rows of any length, a few at a time: each is filled up to the width of the heading."""
    reader = csv.reader(io.StringIO(_decoded(block), newline=""), strict=True)
    most = max(1, CELLS // len(heading))
    found = _rows(reader, heading, line)
    more = True
    while more:
        some = list(islice(found, most))
        more = len(some) == most
        refused = {place: fault for place, (_, _, fault) in enumerate(some) if fault is not None}
        rows = [row for _, row, _ in some]
        frame = pl.DataFrame(rows, dict.fromkeys(heading, pl.String), orient="row")
        frame = frame.with_columns(pl.all().replace("", None))
        yield Piece(frame, [start for start, _, _ in some], refused)


def _rows(reader: Any, heading: Sequence[str], line: int) -> Iterator[_Row]:
    """Yield the line, cells and fault of each row."""
    width = len(heading)
    while True:
        start, fault = line + reader.line_num, None
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            row = [""] * width
            fault = (heading[0], f"the row cannot be read: {error}")
        if not row:
            continue
        if len(row) != width:
            column = heading[min(len(row), width - 1)]
            fault = (column, f"the row has {len(row)} cells, the heading {width}")
        yield start, (row + [""] * width)[:width], fault


def _decoded(block: bytes) -> str:
    try:
        return block.decode()
    except UnicodeDecodeError as error:
        raise unreadable(
            "CSV", f"not UTF-8 at {block[error.start : error.start + 20]!r}", "save it as UTF-8"
        ) from None


def write_csv(table: pl.DataFrame, texts: Iterable[str], plain: bool, empty: int = 0) -> bytes:
    """Return the rows of a table as CSV; what a spreadsheet would run in `texts` is neutralised.

    `plain`: no cell needs quotation marks, and none is looked at. `empty` cells end each row.

    Raises InvalidRecord for columns of lists or structures, which CSV cannot hold.
    """
    changed = [neutral_column(table[name]) for name in texts]
    written = Drain()
    try:
        table.with_columns(changed).write_csv(
            cast(BinaryIO, written),
            include_header=False,
            line_terminator="," * empty + "\n",
            quote_style="never" if plain else "necessary",
        )
    except pl.exceptions.ComputeError as error:
        raise unreadable(
            "table", str(error), "ask for NDJSON, or leave these columns out"
        ) from None
    return written.take()


def write_heading(names: Sequence[str], raw: bool) -> bytes:
    """Return the heading as CSV."""
    cells = pl.Series(names, dtype=pl.String)
    row = cells if raw else neutral_column(cells)
    return pl.DataFrame([row.to_list()], orient="row").write_csv(include_header=False).encode()
