"""Rows of several files put together to records, each knowing the rows that it came from.

Choice: a record goes in whole or not at all. A row that cannot be read refuses the record it
belongs to: a certificate without one of its results would be another certificate. The rows that are
lost with it are reported too, as dragged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from api.errors import InvalidRecord, Issue
from api.services.base.record import Record
from api.services.imports.csv_files import MOST_ROWS, Row
from api.services.imports.csv_mapping import DETAILS, OWNER, Table
from api.services.imports.csv_rows import (
    Refusal,
    Spot,
    key_columns,
    nested,
    says_anything,
    taken_apart,
    values_of,
)

Identity = tuple[Any, ...]
KEYS: Mapping[str, Sequence[str]] = {
    "items": ("id",),
    "composition": ("part", "assembly", "from"),
    "calibrations": ("certificate", "revision", "issuer"),
    "checks": ("id",),
    "requirements": ("id",),
}
OPTIONAL: Mapping[str, Any] = {"revision": 0, "issuer": ""}
_WORDS = {
    "items": 'item "{0}"',
    "composition": 'part "{0}" in "{1}" from {2}',
    "calibrations": 'certificate "{0}" rev. {1}',
    "checks": 'check "{0}"',
    "requirements": 'requirement "{0}"',
}


@dataclass(slots=True)
class Built:
    """A record in the making, and the rows of itself, its uses and its results."""

    collection: str
    name: str
    raw: Record
    rows: list[Spot]
    details: dict[str, list[Spot]]
    loaded: Record = field(default_factory=dict)
    refusal: Refusal | None = None

    def spots(self) -> list[Spot]:
        """Every row that the record came from."""
        return [*self.rows, *(spot for spots in self.details.values() for spot in spots)]

    def located(self, parts: Sequence[str]) -> tuple[Spot, str | None, Sequence[int]]:
        """Return the row, field and columns that a pointer into the record means."""
        spot, rest = self.rows[0], list(parts)
        if len(rest) > 1 and rest[0] in DETAILS and rest[1].isdecimal():
            spot, rest = self.details[rest[0]][int(rest[1])], rest[2:]
        if not rest:
            return spot, None, ()
        part = ".".join(rest[:2])
        return spot, rest[0], spot.table.columns_of(part) or spot.table.columns_of(rest[0])


@dataclass(slots=True)
class Records:
    """All records of the files of one import, and the rows that were refused so far."""

    built: dict[str, dict[Identity, Built]] = field(
        default_factory=lambda: {name: {} for name in KEYS}
    )
    refusals: list[Refusal] = field(default_factory=list)
    # Numbers that a row with an unreadable key named: no certificate of theirs can be whole.
    tainted: dict[str, Refusal] = field(default_factory=dict)
    # Rows of each file; tables that read the same file see the same rows.
    read: dict[str, int] = field(default_factory=dict)

    def refuse(self, built: Built, refusal: Refusal) -> None:
        """Refuse a record for a fault of one of its rows."""
        self.refusals.append(refusal)
        built.refusal = built.refusal or refusal

    def kept(self, collection: str) -> list[Built]:
        """Records of a collection that nothing was found against."""
        return [one for one in self.built[collection].values() if one.refusal is None]


def read_tables(tables: Sequence[Table]) -> Records:
    """Read every row of every table; raises InvalidRecord for a file that cannot be read."""
    records = Records()
    parts = sorted({table.collection for table in tables if table.collection in DETAILS})
    total = 0
    for table in tables:
        count = 0
        for row in table.file.rows(len(table.heading)):
            count += 1
            if total + count > MOST_ROWS:
                raise _too_many()
            _read_row(records, Spot(table, row.number, row.line), row, parts)
        records.read[table.file.name] = count
        total += count
    for (number, *_), built in records.built["calibrations"].items():
        built.refusal = built.refusal or records.tainted.get(number)
    return records


def _too_many() -> InvalidRecord:
    detail = f"more than {MOST_ROWS} rows"
    remedy = "send them in several imports, the older certificates first, or as NDJSON"
    return InvalidRecord(f"The files have {detail}.", [Issue("", detail, remedy)])


def _read_row(records: Records, spot: Spot, row: Row, parts: Sequence[str]) -> None:
    if row.fault is not None:
        remedy = "mend the row; a separator within a cell needs quotation marks around it"
        _refuse_row(records, spot, row, [Refusal(spot, row.fault, remedy)])
        return
    values, faults = values_of(spot, row)
    if not faults and not says_anything(spot.table, values):
        return
    detail = spot.table.collection in DETAILS
    names = KEYS["calibrations" if detail else spot.table.collection]
    prefix = OWNER if detail else ""
    if {fault.field for fault in faults} & {prefix + name for name in names}:
        _refuse_row(records, spot, row, faults)
        return
    key = tuple(values.get(prefix + name, OPTIONAL.get(name)) for name in names)
    if None in key:
        name = names[key.index(None)]
        faults.append(_without_key(spot, prefix + name, key_columns(spot.table, name)))
        _refuse_row(records, spot, row, faults)
    elif detail:
        own = {name: one for name, one in values.items() if not name.startswith(OWNER)}
        _add_detail(records, spot, key, own, faults)
    else:
        _add_record(records, spot, key, values, faults, parts)


def _refuse_row(records: Records, spot: Spot, row: Row, faults: list[Refusal]) -> None:
    """Refuse a row that cannot be said to be of any one record."""
    records.refusals += faults
    if spot.table.collection in (*DETAILS, "calibrations"):
        for at in key_columns(spot.table, "certificate"):
            if at < len(row.cells) and row.cells[at]:
                records.tainted.setdefault(row.cells[at], faults[0])


def _add_record(
    records: Records,
    spot: Spot,
    key: Identity,
    values: Record,
    faults: list[Refusal],
    parts: Sequence[str],
) -> None:
    collection = spot.table.collection
    raw, more = nested(spot, values)
    known = records.built[collection].get(key)
    if known is None:
        details: dict[str, list[Spot]] = {}
        if collection == "calibrations":
            raw |= {part: [] for part in parts}
            details = {part: [] for part in parts}
        known = Built(collection, _WORDS[collection].format(*key), raw, [spot], details)
        records.built[collection][key] = known
    else:
        more += _repeated(known, raw, spot)
        known.rows.append(spot)
    for fault in (*faults, *more):
        records.refuse(known, fault)


def _add_detail(
    records: Records, spot: Spot, key: Identity, values: Record, faults: list[Refusal]
) -> None:
    calibration = records.built["calibrations"].get(key)
    if calibration is None:
        records.refusals += [*faults, _orphan(spot, key)]
        return
    parts, more = taken_apart(spot, values)
    faults += more
    there = calibration.raw[spot.table.collection]
    spots = calibration.details[spot.table.collection]
    for part in parts:
        raw, more = nested(spot, part)
        faults += more
        if not (spot.table.group and raw in there):
            there.append(raw)
            spots.append(spot)
    for fault in faults:
        records.refuse(calibration, fault)


def _repeated(known: Built, raw: Record, spot: Spot) -> list[Refusal]:
    first = known.rows[0]
    if not spot.table.group:
        reason = f"{known.name} stands twice, first in {first}"
        remedy = 'send each once, or say "group": true if several rows make one record'
        key = KEYS[known.collection][0]
        return [Refusal(spot, reason, remedy, key, spot.table.columns_of(key))]
    before = {name: one for name, one in known.raw.items() if name not in DETAILS}
    return [
        Refusal(
            spot,
            f"{name} differs from {first}, which is of the same {known.name}",
            "rows that make one record say the same of it",
            name,
            spot.table.columns_of(name),
        )
        for name in sorted(before.keys() | raw.keys())
        if before.get(name) != raw.get(name)
    ]


def _without_key(spot: Spot, name: str, columns: Sequence[int]) -> Refusal:
    reason = "the cell is empty" if columns else "the mapping names no column for it"
    remedy = "it says which record the row is of: fill it in, or leave the row out"
    return Refusal(spot, reason, remedy, name, columns)


def _orphan(spot: Spot, key: Identity) -> Refusal:
    reason = f'no row of the calibrations is of certificate "{key[0]}" rev. {key[1]}'
    if key[2]:
        reason += f' of "{key[2]}"'
    remedy = "send the calibration too, or mend the number, revision and issuer"
    columns = key_columns(spot.table, "certificate")
    return Refusal(spot, reason, remedy, OWNER + "certificate", columns, str(key[0]))
