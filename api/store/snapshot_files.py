"""The records that a recall reads, written as Parquet files and described by a manifest.

Choice: one file for each kind of record, in the order of the key by which a recall asks for it, cut
into small row groups, so that a reader opens only the groups that can hold its keys. The links are
written once more in the order of what they lead away from: one level of a recall is one pass over
such a file. Everything is read in one transaction and streamed, so that the memory does not grow
with the laboratory. A snapshot appears under its name only once it is complete.

Values are those of the columns: numbers and JSON as text, instants in microseconds. No key of the
API and no journal is in it, but names of customers are: keep it as the database is kept.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import pyarrow as pa
import pyarrow.parquet as pq
from sqlalchemy import Boolean, Executable, Select, column, select, table, text
from sqlalchemy.orm import Session

from api.store import assemblies
from api.store.item_values import ServingRow
from api.store.records import (
    CertificateRow,
    CheckRow,
    ItemRow,
    PartRow,
    ResultRow,
    UseRow,
)

# 2: modes, directions, shares, and when a certificate serves; 3: what revisions were corrected for;
# 4: curves.
FORMAT = 4
MANIFEST = "manifest.json"
ROWS_A_GROUP = 16_384
_NUMBERS = pa.int64()
_KINDS = {
    **dict.fromkeys(("assigns_value", "external", "independent", "never_issued"), pa.bool_()),
    **dict.fromkeys(("id", "revision", "position", "rule_version"), _NUMBERS),
}


class SnapshotError(Exception):
    """A snapshot that cannot be written or read; the text says why."""


class Table(NamedTuple):
    """One file: the table and columns it holds, and the columns it is ordered by.

    The first of these is its key; rows without one are left out, and so are those for which the
    column `unless` is true.
    """

    table: str
    columns: tuple[str, ...]
    order: tuple[str, ...]
    unless: str | None = None


# What lists, `lacking_roles` and `recalibrations` ask for beside the row of a certificate.
CERTIFICATE = (
    *CertificateRow._fields,
    "curve",
    "performed_at",
    "roles",
    "serves_from_us",
    "serves_until_us",
)
_BY_ITEM = ("item_id", "used_us", "certificate_id")
FILES: Mapping[str, Table] = {
    "item": Table("item", ItemRow._fields, ("id",)),
    "customer": Table("customer", ("id", "name"), ("id",)),
    "decision_rule": Table("decision_rule", ("id", "code", "rule_version", "definition"), ("id",)),
    "composition": Table("composition", PartRow._fields, ("id",)),
    "check": Table("intermediate_check", CheckRow._fields, ("item_id", "id"), "withdrawn"),
    "certificate": Table("certificate", CERTIFICATE, ("id",)),
    "certificate_by_item": Table(
        "certificate", (*ServingRow._fields, "never_issued"), ("item_id", "id")
    ),
    "use": Table("usage", UseRow._fields, ("certificate_id", "position")),
    "use_by_item": Table("usage", ("item_id", "certificate_id", "role"), _BY_ITEM),
    "use_by_source": Table(
        "usage", ("source_id", "certificate_id"), ("source_id", "certificate_id")
    ),
    "use_by_evidence": Table(
        "usage", ("evidence_id", "certificate_id"), ("evidence_id", "certificate_id")
    ),
    "result": Table("result", ResultRow._fields, ("certificate_id", "position")),
}


class _Hashing:
    """A file that is hashed and measured while it is written, from its beginning to its end."""

    def __init__(self, file: BinaryIO) -> None:
        self.file, self.hash = file, hashlib.sha256()
        self.size, self.closed = 0, False

    def write(self, data: Any) -> int:
        self.hash.update(data)
        self.size += len(data)
        return self.file.write(data)

    def tell(self) -> int:
        return self.size

    def flush(self) -> None:
        self.file.flush()

    def close(self) -> None:
        self.closed = True


def write(session: Session, folder: Path, about: Mapping[str, Any]) -> dict[str, Any]:
    """Write a snapshot of what a session sees into a new folder; return its manifest.

    `about` is put into the manifest before the list of files. Raises SnapshotError if the folder
    exists already.
    """
    if folder.exists():
        raise SnapshotError(f"{folder} exists already; name a new folder")
    partial = folder.with_name(f".{folder.name}.{os.getpid()}.partial")
    partial.mkdir(parents=True)
    try:
        files = {name: _write_file(session, partial, name) for name in FILES}
        manifest = {"format": FORMAT, **about, "files": files}
        text = json.dumps(manifest, indent=1, ensure_ascii=False)
        (partial / MANIFEST).write_text(text + "\n", "utf-8")
        partial.rename(folder)
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return manifest


def file_in(folder: Path, name: str) -> Path:
    """Path of one of the files of a snapshot."""
    return folder / f"{name}.parquet"


def _write_file(session: Session, folder: Path, name: str) -> dict[str, Any]:
    columns = FILES[name].columns
    schema = pa.schema([(one, _kind(one)) for one in columns])
    rows = 0
    with file_in(folder, name).open("wb") as opened:
        hashed = _Hashing(opened)
        with pq.ParquetWriter(hashed, schema, compression="zstd") as writer:
            for some in _rows(session, name):
                arrays = [
                    _array(cells, kind) for cells, kind in zip(some, schema.types, strict=True)
                ]
                writer.write_table(pa.table(arrays, schema=schema))
                rows += len(arrays[0])
        opened.flush()
        os.fsync(opened.fileno())
    return {"rows": rows, "bytes": hashed.size, "sha256": hashed.hash.hexdigest()}


def _kind(name: str) -> pa.DataType:
    known = _KINDS.get(name)
    if known is not None:
        return known
    return _NUMBERS if name.endswith(("_id", "_us")) else pa.string()


def _array(cells: Sequence[Any], kind: pa.DataType) -> pa.Array:
    if pa.types.is_boolean(kind):  # SQLite has none and says 0 and 1
        cells = [None if cell is None else bool(cell) for cell in cells]
    return pa.array(cells, kind)


def _rows(session: Session, name: str) -> Iterator[list[tuple[Any, ...]]]:
    """Columns of some thousand rows at a time, as the driver gives them."""
    statement: Executable = text(assemblies.PARTS) if name == "composition" else _select(name)
    # Without streaming PostgreSQL's driver would fetch the whole table at once.
    streamed = statement.execution_options(stream_results=True)
    with session.connection().execute(streamed) as found:
        while rows := found.fetchmany(ROWS_A_GROUP):
            yield list(zip(*rows, strict=True))


def _select(name: str) -> Select[*tuple[Any, ...]]:
    """Columns without types: what is stored comes as it is stored."""
    shape = FILES[name]
    statement: Select[*tuple[Any, ...]] = (
        select(*(column(one) for one in shape.columns))
        .select_from(table(shape.table))
        .where(column(shape.order[0]).is_not(None))
        .order_by(*(column(one) for one in shape.order))
    )
    return statement if shape.unless is None else statement.where(~column(shape.unless, Boolean()))
