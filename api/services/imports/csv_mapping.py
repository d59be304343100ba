"""A column mapping and the files it speaks of, put together: which reader reads which field.

A mapping has ``tables``; each says of one ``file`` which ``collection`` its rows belong to and, in
``fields``, where each field of the record comes from. Without ``fields`` the columns are named as
the fields are. One file may serve several tables. ``results`` and ``uses`` belong to a calibration,
which they name by the fields ``calibration.certificate``, ``.revision`` and ``.issuer``; ``a.b`` is
a part of the field a. What a table does not say of its numbers and dates, the mapping says.

Not checked here: the words of the mapping itself (see the schema), and any cell.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from api.errors import InvalidRecord, Issue, pointer
from api.services.base.record import Record
from api.services.imports.csv_cells import Options, Reader
from api.services.imports.csv_files import CsvFile
from graph.moments import time_zone

Kinds = Mapping[str, Mapping[str, str]]
DETAILS = ("uses", "results")
OWNER = "calibration."
# What may be said once for a whole mapping or table.
COMMON = ("decimal", "thousands", "format", "zone", "empty")
MAPPING = "mapping"


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """One table of a mapping, ready to read rows: its file, and a reader for each field."""

    index: int
    file: CsvFile
    collection: str
    group: bool
    heading: Sequence[str]
    readers: Sequence[Reader]

    def columns_of(self, field: str) -> Sequence[int]:
        """Places of the columns that a field, or a part of it, comes from."""
        return next(
            (
                one.columns
                for one in self.readers
                if one.name == field or one.name.startswith(f"{field}.")
            ),
            (),
        )

    def column_names(self, places: Sequence[int]) -> str:
        """Names of columns, as the heading says."""
        return ", ".join(self.heading[at] for at in places)


class _Faults:
    """Collects what is wrong with a mapping, with pointers into it."""

    def __init__(self) -> None:
        self.issues: list[Issue] = []

    def add(self, parts: Sequence[str | int], detail: str, remedy: str, value: str) -> None:
        self.issues.append(Issue(pointer(*parts), detail, remedy, value[:200]))


def tables_of(mapping: Record, files: Mapping[str, CsvFile], kinds: Kinds) -> list[Table]:
    """Return the tables of a mapping; raises InvalidRecord with every fault of it.

    `kinds` says for each collection which fields there are, and what each holds.
    """
    faults = _Faults()
    headings: dict[str, Sequence[str]] = {}
    tables = []
    for index, sent in enumerate(mapping["tables"]):
        found = files.get(sent["file"])
        place = ("tables", index)
        if found is None:
            known = ", ".join(files) or "none"
            detail, remedy = "no such file was sent", f"files sent: {known}"
            faults.add((*place, "file"), detail, remedy, sent["file"])
            continue
        form = (sent.get("separator", mapping["separator"]), sent["heading_row"])
        if found.name in headings and form != (found.separator, found.heading_row):
            detail = "another table reads this file with another separator or heading"
            faults.add((*place, "file"), detail, "say the same of both", found.name)
        if found.name not in headings:
            found.separator, found.heading_row = form
            headings[found.name] = found.heading()
        heading = headings[found.name]
        common = {name: mapping[name] for name in COMMON if name in mapping}
        common |= {name: sent[name] for name in COMMON if name in sent}
        known_kinds = kinds[sent["collection"]]
        readers = _readers(sent, heading, common, known_kinds, faults, place)
        tables.append(Table(index, found, sent["collection"], sent["group"], heading, readers))
    _refuse_unclaimed(mapping, files, faults)
    if faults.issues:
        raise InvalidRecord(f"{len(faults.issues)} fault(s) in the mapping", faults.issues)
    # Whatever a row of them belongs to must be known first.
    return sorted(tables, key=lambda table: table.collection in DETAILS)


def unused_columns(tables: Sequence[Table], file: str) -> list[str]:
    """Return the columns of a file that no table takes."""
    own = [table for table in tables if table.file.name == file]
    used = {at for table in own for reader in table.readers for at in reader.columns}
    heading = own[0].heading if own else ()
    return [name for at, name in enumerate(heading) if name and at not in used]


def _refuse_unclaimed(mapping: Record, files: Mapping[str, CsvFile], faults: _Faults) -> None:
    named = {files[one["file"]].name for one in mapping["tables"] if one["file"] in files}
    for name in sorted({file.name for file in files.values()} - named):
        detail = f'the mapping says nothing of the file "{name}"'
        faults.add(("tables",), detail, "add a table for it, or leave the file out", name)


def _readers(
    sent: Record,
    heading: Sequence[str],
    common: Options,
    kinds: Mapping[str, str],
    faults: _Faults,
    place: Sequence[str | int],
) -> list[Reader]:
    fields: Mapping[str, Record] = sent.get("fields") or {
        name: {"column": name} for name in heading if kind_of(name, kinds)
    }
    if not fields:
        detail = "no column is named as a field is"
        faults.add((*place, "file"), detail, 'give "fields"', ", ".join(heading))
    made = []
    for name, options in fields.items():
        columns = _places(options, heading, faults, (*place, "fields", name))
        kind = kind_of(name, kinds) or ""
        made.append(Reader(name, kind, columns, _resolved({**common, **options})))
    return made


def kind_of(name: str, kinds: Mapping[str, str]) -> str | None:
    """Return what a field holds, or a part of one (``tolerance.lower``); None if there is none.

    >>> kind_of("tolerance.lower", {"tolerance": "tolerance"})
    'decimal'
    """
    kind = kinds.get(name)
    if kind is not None:
        return None if kind == "object" else kind
    whole, dot, part = name.partition(".")
    if not dot or not part:
        return None
    return {"object": "text", "tolerance": "decimal", "weight": "decimal"}.get(kinds.get(whole, ""))


def _resolved(options: Options) -> Options:
    zone = options.get("zone")
    return options if zone is None else {**options, "zone": time_zone(zone)}


def _places(
    options: Options, heading: Sequence[str], faults: _Faults, place: Sequence[str | int]
) -> tuple[int, ...]:
    if "value" in options:
        return ()
    found: list[int] = []
    for name in options.get("columns") or [options["column"]]:
        places = [at for at, known in enumerate(heading) if known == name]
        if len(places) == 1:
            found += places
            continue
        detail = f'the file has {len(places) or "no"} column{"s"[: len(places)]} "{name}"'
        known = ", ".join(filter(None, heading))
        faults.add(place, detail, f"its columns: {known}"[:1000], name)
    return tuple(found)
