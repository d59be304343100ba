"""What became of the rows of CSV files: counts, every refused row, and what is missing.

The cells of refused rows are read again from the files, so that the report shows them as they
stand there and nothing of the other rows need be kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from api.services.base.record import Record
from api.services.base.sheets import Cell, csv_parts
from api.services.imports.csv_files import Row
from api.services.imports.csv_imports import CsvImport
from api.services.imports.csv_mapping import unused_columns
from api.services.imports.csv_rows import Refusal

COLUMNS = ("file", "row", "line", "column", "field", "value", "reason", "remedy", "dragged")
SHOWN_LENGTH = 200
_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?")


def report(done: CsvImport) -> Record:
    """Return the report of an import that was tried to its end."""
    done.drag()
    refusals = sorted(done.records.refusals, key=_order)
    cells = _cells(done, refusals)
    return {
        "files": [_file(done, name, refusals) for name in done.records.read],
        "refused": [_entry(one, cells) for one in refusals],
        "missing": _missing(done),
    }


def report_csv(entries: Sequence[Record], *, raw: bool) -> Iterator[str]:
    """Yield the refused rows of a report as CSV that a spreadsheet opens without running it."""
    return csv_parts(
        COLUMNS, ([_cell(one.get(name)) for name in COLUMNS] for one in entries), raw=raw
    )


def _order(refusal: Refusal) -> tuple[str, int, bool]:
    if refusal.spot is None:
        return "", 0, False
    return refusal.spot.table.file.name, refusal.spot.number, refusal.dragged


def _file(done: CsvImport, name: str, refusals: Sequence[Refusal]) -> Record:
    own = [one for one in refusals if one.spot is not None and one.spot.table.file.name == name]
    refused = {one.spot.number for one in own if one.spot and not one.dragged}
    dragged = {one.spot.number for one in own if one.spot and one.dragged} - refused
    return {
        "file": name,
        "rows": done.records.read[name],
        "refused": len(refused),
        "dragged": len(dragged),
        "unused_columns": unused_columns(done.tables, name),
    }


def _cells(done: CsvImport, refusals: Sequence[Refusal]) -> Mapping[tuple[str, int], Row]:
    wanted: dict[str, set[int]] = {}
    for one in refusals:
        if one.spot is not None and one.columns:
            wanted.setdefault(one.spot.table.file.name, set()).add(one.spot.number)
    found: dict[tuple[str, int], Row] = {}
    for table in done.tables:
        numbers = wanted.pop(table.file.name, None)
        if numbers:
            found.update(
                ((table.file.name, row.number), row)
                for row in table.file.rows(len(table.heading))
                if row.number in numbers
            )
    return found


def _entry(refusal: Refusal, cells: Mapping[tuple[str, int], Row]) -> Record:
    entry: Record = {"dragged": refusal.dragged}
    value = refusal.value
    spot = refusal.spot
    if spot is not None:
        entry |= {"file": spot.table.file.name, "row": spot.number, "line": spot.line}
        if refusal.columns:
            row = cells[spot.table.file.name, spot.number].cells
            entry["column"] = ", ".join(spot.table.heading[at] for at in refusal.columns)
            value = ", ".join(row[at] for at in refusal.columns if at < len(row))
    if value is not None:
        entry["value"] = value[:SHOWN_LENGTH]
    if refusal.field is not None:
        entry["field"] = refusal.field
    return entry | {"reason": refusal.reason, "remedy": refusal.remedy}


def _missing(done: CsvImport) -> Record:
    """Return what records name and nobody recorded, with the number of records that name it."""
    found: Record = {}
    for (kind, code), count in sorted(done.missing.items()):
        found.setdefault(kind, []).append({"id": code, "named_by": count})
    return found


def _cell(value: object) -> Cell:
    """Return a cell of the report; a number that was sent stays one."""
    if isinstance(value, str) and _NUMBER.fullmatch(value):
        return Decimal(value)
    return value  # type: ignore[return-value]  # texts, whole numbers, flags and None
