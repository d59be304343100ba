"""What a recall reads: certificates, uses and results by key, and the few rows around them.

Every question is one text for both engines (`api.store.reading`).
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from typing import Any, NamedTuple

from api.store.keyed import rows_of
from api.store.reading import Reader


class CertificateRow(NamedTuple):
    """One certificate as its columns hold it."""

    id: int
    issuer: str
    number: str
    revision: int
    status: str
    item_id: int
    customer_id: int | None
    performed_us: int
    performed_end_us: int
    assigns_value: bool
    external: bool
    superseded_by: str | None
    void_reason: str | None
    content_hash: str
    method: str | None
    mode: str | None
    fault_corrections: str | None


class HeadRow(NamedTuple):
    """What a list shows of one certificate."""

    id: int
    issuer: str
    number: str
    revision: int
    status: str
    item_id: int
    customer_id: int | None
    external: bool
    performed_at: str


class UseRow(NamedTuple):
    """One use as its columns hold it; weight, points and factor are text."""

    certificate_id: int
    position: int
    item_id: int
    role: str
    weight: str | None
    channel: str | None
    points: str | None
    used_us: int
    used_end_us: int
    factor_applied: str | None
    source_id: int | None
    evidence_id: int | None
    named_certificate: str | None


class ResultRow(NamedTuple):
    """One result as its columns hold it; numbers and the name of the point are text."""

    certificate_id: int
    position: int
    point: str
    stage: str
    unit: str | None
    applied: str | None
    indicated: str | None
    error: str | None
    U: str | None
    k: str | None
    dof: str | None
    error_rel_pct: str | None
    U_rel_pct: str | None
    limit_lower: str | None
    limit_upper: str | None
    rule_id: int | None
    verdict_reported: str | None
    direction: str | None


class ItemRow(NamedTuple):
    """One item; its channels are JSON text."""

    id: int
    code: str
    kind: str
    type: str | None
    channels: str | None


class HoldingRow(NamedTuple):
    """One part in one assembly, from (inclusive) until (exclusive), by their ids."""

    id: int
    assembly: str
    part: str
    from_us: int
    until_us: int | None
    share: str | None


class PartRow(NamedTuple):
    """A holding as seen from its assembly: with the key and kind of the part."""

    id: int
    assembly: str
    part: str
    from_us: int
    until_us: int | None
    share: str | None
    part_id: int
    kind: str


class CheckRow(NamedTuple):
    """One intermediate check; its numbers are text, what it covers is JSON text."""

    item_id: int
    code: str
    performed_us: int
    performed_end_us: int
    result: str
    acceptance_limit_rel: str | None
    U_rel: str | None
    independent: bool | None
    against_id: int | None
    covers: str | None
    mode: str | None


class RecalibrationRow(NamedTuple):
    """One calibration as a note names it."""

    number: str
    revision: int
    performed_at: str
    performed_us: int


class NumberRow(NamedTuple):
    """One certificate as its number is chosen by."""

    id: int
    issuer: str
    revision: int
    status: str


def certificates(reader: Reader, keys: Collection[int]) -> Iterator[CertificateRow]:
    """Certificates by key."""
    return map(CertificateRow._make, _rows(reader, CertificateRow, "certificate", "id", keys))


def corrections(
    reader: Reader, keys: Collection[int] | None = None
) -> Iterator[tuple[int, list[dict[str, Any]]]]:
    """What was taken from corrected revisions for faults, by key; of all of them without keys."""
    columns, where = (
        "certificate.id, certificate.fault_corrections",
        "fault_corrections IS NOT NULL",
    )
    rows = (
        reader.rows(f"SELECT {columns} FROM certificate WHERE {where}")
        if keys is None
        else rows_of(reader, columns, "certificate", "id", keys, f"WHERE certificate.{where}")
    )
    return ((key, json.loads(text)) for key, text in rows)


def curves(reader: Reader, keys: Collection[int]) -> dict[int, str | None]:
    """JSON text of the curves of these certificates, by key; None where one assigns none."""
    return dict(rows_of(reader, "certificate.id, certificate.curve", "certificate", "id", keys))


def heads(reader: Reader, keys: Collection[int]) -> Iterator[HeadRow]:
    """What a list shows of certificates, by key."""
    return map(HeadRow._make, _rows(reader, HeadRow, "certificate", "id", keys))


def uses(reader: Reader, keys: Collection[int]) -> Iterator[UseRow]:
    """Uses of these certificates; their order in a certificate is `position`."""
    return map(UseRow._make, _rows(reader, UseRow, "usage", "certificate_id", keys))


def results(reader: Reader, keys: Collection[int]) -> Iterator[ResultRow]:
    """Results of these certificates; their order in a certificate is `position`."""
    return map(ResultRow._make, _rows(reader, ResultRow, "result", "certificate_id", keys))


def item_codes(reader: Reader, keys: Collection[int]) -> dict[int, str]:
    """Ids of items, as their users know them, by key."""
    return {key: code for key, (code, _) in item_words(reader, keys).items()}


def item_words(reader: Reader, keys: Collection[int]) -> dict[int, tuple[str, str | None]]:
    """Ids and types of items by key."""
    rows = rows_of(reader, "item.id, item.code, item.type", "item", "id", keys)
    return {key: (code, kind) for key, code, kind in rows}


def customer_names(reader: Reader, keys: Collection[int]) -> dict[int, str]:
    """Names of customers by key."""
    return dict(rows_of(reader, "customer.id, customer.name", "customer", "id", keys))


def rules(reader: Reader, keys: Collection[int]) -> Iterator[tuple[Any, ...]]:
    """(key, id, version, definition as JSON text) of decision rules."""
    columns = named("decision_rule", ("id", "code", "rule_version", "definition"))
    return rows_of(reader, columns, "decision_rule", "id", keys)


def time_zone(reader: Reader) -> str | None:
    """IANA name of the laboratory's zone; None until one is recorded."""
    return next((zone for (zone,) in reader.rows("SELECT time_zone FROM laboratory")), None)


def item(reader: Reader, code: str) -> ItemRow | None:
    """The item of this id, if it is recorded."""
    return next(map(ItemRow._make, _rows(reader, ItemRow, "item", "code", [code])), None)


def item_keys(reader: Reader, codes: Collection[str]) -> set[int]:
    """Keys of the items of these ids."""
    return {key for (key,) in rows_of(reader, "item.id", "item", "code", codes)}


def bearing_items(reader: Reader, items: Collection[int]) -> set[int]:
    """Those of these items that were ever used, or held by an assembly: others may rest on them."""
    also = (
        "WHERE EXISTS (SELECT 1 FROM usage WHERE usage.item_id = item.id) "
        "OR EXISTS (SELECT 1 FROM composition WHERE composition.part_id = item.id)"
    )
    return {key for (key,) in rows_of(reader, "item.id", "item", "id", items, also)}


def checks_of(reader: Reader, item: int) -> list[CheckRow]:
    """Checks of an item that were not withdrawn."""
    columns, table = named("intermediate_check", CheckRow._fields), "intermediate_check"
    rows = rows_of(reader, columns, table, "item_id", [item], f"WHERE NOT {table}.withdrawn")
    return list(map(CheckRow._make, rows))


def recalibrations(
    reader: Reader, item: int, start_us: int | None, end_us: int | None
) -> list[RecalibrationRow]:
    """Issued calibrations of an item inside (start, end]."""
    statement = (
        f"SELECT {', '.join(RecalibrationRow._fields)} FROM certificate "
        "WHERE item_id = ? AND status = 'issued'"
    )
    parameters = [item]
    if start_us is not None:
        statement += " AND performed_us > ?"
        parameters.append(start_us)
    if end_us is not None:
        statement += " AND performed_us <= ?"
        parameters.append(end_us)
    return list(map(RecalibrationRow._make, reader.rows(statement, parameters)))


def numbered(reader: Reader, number: str) -> list[NumberRow]:
    """All certificates of a number, newest revision first."""
    statement = (
        f"SELECT {', '.join(NumberRow._fields)} FROM certificate "
        "WHERE number = ? ORDER BY revision DESC"
    )
    return list(map(NumberRow._make, reader.rows(statement, [number])))


def _rows(
    reader: Reader, row: Any, table: str, key: str, keys: Collection[int] | Collection[str]
) -> Iterator[tuple[Any, ...]]:
    return rows_of(reader, named(table, row._fields), table, key, keys)


def named(table: str, columns: Collection[str]) -> str:
    """Return columns with their table, quoted: PostgreSQL takes capitals for small letters."""
    return ", ".join(f'{table}."{column}"' for column in columns)
