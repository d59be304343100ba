"""Which part is in which assembly, and when, as a recall asks for it; withdrawn holdings are none.

Every question is one text for both engines (`api.store.reading`).
"""

from __future__ import annotations

from collections.abc import Collection

from api.store.keyed import rows_of
from api.store.reading import Reader
from api.store.records import HoldingRow, PartRow

_HELD = (
    "composition.id, {assembly}.code, {part}.code, composition.from_us, composition.until_us, "
    "composition.share"
)
_WITH_PART = _HELD + ", {part}.id, {part}.kind"
_BY_ASSEMBLY = "JOIN item AS assembly ON assembly.id = composition.assembly_id"
_BY_PART = "JOIN item AS part ON part.id = composition.part_id"
_HOLDS = "WHERE NOT composition.withdrawn"
_ALL = "SELECT {columns} FROM composition {joins} {holds} ORDER BY composition.id"
_ENDS = {"joins": f"{_BY_ASSEMBLY} {_BY_PART}", "holds": _HOLDS}
_NAMED = {"assembly": "assembly", "part": "part"}
HOLDINGS = _ALL.format(columns=_HELD.format(**_NAMED), **_ENDS)
# Columns as `PartRow` names them.
PARTS = _ALL.format(columns=_WITH_PART.format(**_NAMED), **_ENDS)


def holdings(reader: Reader) -> list[HoldingRow]:
    """Every holding, by key."""
    return list(map(HoldingRow._make, reader.rows(HOLDINGS)))


def holdings_of(reader: Reader, parts: Collection[str]) -> list[HoldingRow]:
    """Which assemblies held these parts, and when, by key of the holding."""
    also = f"JOIN composition ON composition.part_id = item.id {_BY_ASSEMBLY} {_HOLDS}"
    columns = _HELD.format(assembly="assembly", part="item")
    rows = map(HoldingRow._make, rows_of(reader, columns, "item", "code", parts, also))
    return sorted(rows, key=lambda row: row.id)


def holdings_in(reader: Reader, assemblies: Collection[str]) -> list[PartRow]:
    """What these assemblies ever held, and when, by key of the holding."""
    also = f"JOIN composition ON composition.assembly_id = item.id {_BY_PART} {_HOLDS}"
    columns = _WITH_PART.format(assembly="item", part="part")
    rows = map(PartRow._make, rows_of(reader, columns, "item", "code", assemblies, also))
    return sorted(rows, key=lambda row: row.id)


def family(reader: Reader, items: Collection[int]) -> dict[int, set[int]]:
    """Of these items and whatever ever held one of them the assemblies, with all they ever held."""
    above = holders(reader, items)
    table, key = "composition", "assembly_id"
    rows = rows_of(reader, f"DISTINCT {table}.{key}", table, key, list(above), _HOLDS)
    found = {}
    for assembly in sorted(key for (key,) in rows):
        parts = held(reader, [assembly]) - {assembly}
        if parts:
            found[assembly] = parts
    return found


def holders(reader: Reader, items: Collection[int], *, withdrawn: bool = False) -> set[int]:
    """Return these items and whatever ever held one of them, directly or within another."""
    return _closed(reader, items, ("part_id", "assembly_id"), withdrawn)


def held(reader: Reader, items: Collection[int], *, withdrawn: bool = False) -> set[int]:
    """Return these items and all that any of them ever held, directly or within another part."""
    return _closed(reader, items, ("assembly_id", "part_id"), withdrawn)


def _closed(
    reader: Reader, items: Collection[int], ends: tuple[str, str], withdrawn: bool
) -> set[int]:
    """These items and all that is met from them along holdings, from one end to the other."""
    start, end = ends
    columns, table = f"DISTINCT composition.{end}", "composition"
    found, frontier = set(items), set(items)
    while frontier:
        rows = rows_of(reader, columns, table, start, list(frontier), "" if withdrawn else _HOLDS)
        frontier = {key for (key,) in rows} - found
        found |= frontier
    return found
