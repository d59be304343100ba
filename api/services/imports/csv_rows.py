"""What one row says of one table: values by field, parts of fields put together, lists taken apart.

A row of uses may list several in one cell; its other lists then have as many parts, and what is no
list holds for each of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from api.services.base.record import Record
from api.services.imports.csv_cells import ABSENT, CellFault, Reader
from api.services.imports.csv_files import Row
from api.services.imports.csv_mapping import DETAILS, OWNER, Table


class Spot(NamedTuple):
    """Where a row stands: the table that read it, its number and its line."""

    table: Table
    number: int
    line: int

    @property
    def place(self) -> tuple[str, int]:
        """File and number; several tables may read one row."""
        return self.table.file.name, self.number

    def __str__(self) -> str:
        return f"{self.table.file.name} row {self.number}"


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a row did not go in; `columns` are the places of the cells concerned.

    `dragged`: nothing is wrong with the row itself.
    """

    spot: Spot | None
    reason: str
    remedy: str
    field: str | None = None
    columns: Sequence[int] = ()
    value: str | None = None
    dragged: bool = False


class Several(list[Any]):
    """Values for several uses from one cell."""


def values_of(spot: Spot, row: Row) -> tuple[Record, list[Refusal]]:
    """Return what the cells of a row say, and what is wrong with them."""
    values: Record = {}
    faults = []
    for reader in spot.table.readers:
        try:
            value = _value(reader, spot.table, row.cells)
        except CellFault as fault:
            text = ", ".join(row.cells[at] for at in reader.columns)
            faults.append(
                Refusal(spot, fault.reason, fault.remedy, reader.name, reader.columns, text)
            )
        else:
            if value is not ABSENT:
                values[reader.name] = value
    return values, faults


def _value(reader: Reader, table: Table, cells: Sequence[str]) -> Any:
    lists = reader.kind in ("list", "points")
    if table.collection != "uses" or lists or "split" not in reader.options:
        return reader.read(cells)
    if reader.kind == "weight" and any("=" in cells[at] for at in reader.columns):
        return reader.read(cells)
    return Several(reader.read_parts(cells)) or ABSENT


def says_anything(table: Table, values: Record) -> bool:
    """Whether a cell of the row has a value, the key of its calibration and constants aside."""
    return any(
        reader.columns and reader.name in values and not reader.name.startswith(OWNER)
        for reader in table.readers
    )


def taken_apart(spot: Spot, values: Record) -> tuple[list[Record], list[Refusal]]:
    """Return the values of each use that a row lists, or of the one record that it is."""
    lists = {name: one for name, one in values.items() if isinstance(one, Several)}
    counts = sorted({len(one) for one in lists.values()})
    if len(counts) > 1:
        said = ", ".join(f"{name} {len(one)}" for name, one in lists.items())
        reason = f"the lists of the row are not of one length: {said}"
        columns = [at for name in lists for at in spot.table.columns_of(name)]
        return [], [Refusal(spot, reason, "give as many of each", None, columns)]
    if not lists:
        return [values], []
    return [
        {
            name: lists[name][at] if name in lists else one
            for name, one in values.items()
            if name not in lists or lists[name][at] is not ABSENT
        }
        for at in range(counts[0])
    ], []


def nested(spot: Spot, values: Record) -> tuple[Record, list[Refusal]]:
    """Return the record of a row, ``a.b`` within the object a; both of a and a.b are a fault."""
    raw: Record = {}
    faults = []
    for name in sorted(values):
        whole, dot, part = name.partition(".")
        if not dot:
            raw[name] = values[name]
        elif isinstance(raw.setdefault(whole, {}), dict):
            raw[whole] = raw[whole] | {part: values[name]}
        else:
            columns = spot.table.columns_of(name)
            reason = f"{whole} is given as a whole and in parts"
            faults.append(Refusal(spot, reason, "leave one of them empty", whole, columns))
    return raw, faults


def key_columns(table: Table, name: str) -> Sequence[int]:
    """Columns of a field of the key, which a row of uses or results has from its calibration."""
    return table.columns_of(OWNER + name if table.collection in DETAILS else name)
