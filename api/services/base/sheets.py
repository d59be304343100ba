"""Rows as a CSV or XLSX file that a spreadsheet opens without running anything.

A text that could be taken for a formula gets an apostrophe in front unless the caller wants it raw.
Numbers are numbers and stay as they are, sign and digits included. In a workbook every text is
stored as text, raw ones too, and so is a number of more digits than a spreadsheet keeps.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import IO, Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

from api.services.base.formulas import neutral

Cell = str | int | bool | Decimal | None
ROWS_A_SHEET = 1_000_000  # a sheet holds 1,048,576
LOT = 500
DIGITS = 15  # what a spreadsheet's binary number gives back unchanged
# Characters that XML 1.0 does not allow (section 2.2), and that no other check keeps out.
_NOT_XML = str.maketrans({"\ufffe": "\ufffd", "\uffff": "\ufffd"})


def csv_parts(
    columns: Sequence[str], rows: Iterable[Sequence[Cell]], *, raw: bool
) -> Iterator[str]:
    """Yield the parts of a CSV file (RFC 4180) with a heading."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(columns)
    for count, row in enumerate(rows, 1):
        writer.writerow([_csv_cell(cell, raw) for cell in row])
        if count % LOT == 0:
            yield buffer.getvalue()
            buffer.seek(0)
            buffer.truncate()
    yield buffer.getvalue()


def _csv_cell(cell: Cell, raw: bool) -> str | int:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, Decimal):
        return format(cell, "f")
    return neutral(cell) if isinstance(cell, str) and not raw else cell


def write_xlsx(
    file: IO[bytes],
    title: str,
    created_us: int,
    columns: Sequence[str],
    rows: Iterable[Sequence[Cell]],
    *,
    raw: bool,
) -> None:
    """Write a workbook, row by row; a further sheet begins where one is full."""
    book = Workbook(write_only=True)
    book.properties.title = title
    book.properties.creator = "Tracehold"
    created = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=created_us)
    book.properties.created = created.replace(tzinfo=None)  # openpyxl takes it as UTC
    sheet: Any = None
    for count, row in enumerate(rows):
        if count % ROWS_A_SHEET == 0:
            sheet = _sheet(book, f"{title} {count // ROWS_A_SHEET + 1}", columns)
        sheet.append([_xlsx_cell(sheet, cell, raw) for cell in row])
    if sheet is None:
        _sheet(book, f"{title} 1", columns)
    book.save(file)


def _sheet(book: Workbook, title: str, columns: Sequence[str]) -> Any:
    sheet: Any = book.create_sheet(title)
    sheet.freeze_panes = "A2"
    heading = [WriteOnlyCell(sheet, name) for name in columns]
    for cell in heading:
        cell.font = Font(bold=True)
    sheet.append(heading)
    return sheet


def _xlsx_cell(sheet: Any, cell: Cell, raw: bool) -> Any:
    if isinstance(cell, Decimal):
        return _number(sheet, cell)
    if not isinstance(cell, str):
        return cell
    text = (cell if raw else neutral(cell)).translate(_NOT_XML)
    return _text(sheet, text)


def _number(sheet: Any, cell: Decimal) -> Any:
    """A number that shows its digits; one with more than a spreadsheet's number holds, as text."""
    _, digits, exponent = cell.as_tuple()
    if len(digits) > DIGITS:
        return _text(sheet, format(cell, "f"))
    value: Any = cell  # openpyxl writes a Decimal as a number
    made = WriteOnlyCell(sheet, value)
    places = max(0, -int(exponent))
    made.number_format = f"0.{'0' * places}" if places else "0"
    return made


def _text(sheet: Any, text: str) -> Any:
    made = WriteOnlyCell(sheet, text)
    made.data_type = "s"  # never a formula, whatever it begins with
    return made
