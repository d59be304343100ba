"""What a recall reads: certificates, uses and results by key, and the few rows around them."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any, NamedTuple

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, aliased

from api.store.chunks import chunks
from api.store.keyed import rows_of
from api.store.tables import Certificate, Composition, Item, Laboratory

Assembly = aliased(Item)
Part = aliased(Item)


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


def certificates(session: Session, keys: Collection[int]) -> Iterator[CertificateRow]:
    """Certificates by key."""
    return map(CertificateRow._make, _rows(session, CertificateRow, "certificate", "id", keys))


def uses(session: Session, keys: Collection[int]) -> Iterator[UseRow]:
    """Uses of these certificates; their order in a certificate is `position`."""
    return map(UseRow._make, _rows(session, UseRow, "usage", "certificate_id", keys))


def results(session: Session, keys: Collection[int]) -> Iterator[ResultRow]:
    """Results of these certificates; their order in a certificate is `position`."""
    return map(ResultRow._make, _rows(session, ResultRow, "result", "certificate_id", keys))


def item_codes(session: Session, keys: Collection[int]) -> dict[int, str]:
    """Ids of items, as their users know them, by key."""
    return {key: code for key, (code, _) in item_words(session, keys).items()}


def item_words(session: Session, keys: Collection[int]) -> dict[int, tuple[str, str | None]]:
    """Ids and types of items by key."""
    return {
        key: (code, kind)
        for key, code, kind in rows_of(session, "item.id, item.code, item.type", "item", "id", keys)
    }


def customer_names(session: Session, keys: Collection[int]) -> dict[int, str]:
    """Names of customers by key."""
    return dict(rows_of(session, "customer.id, customer.name", "customer", "id", keys))


def rules(session: Session, keys: Collection[int]) -> Iterator[tuple[Any, ...]]:
    """(key, id, version, definition as JSON text) of decision rules."""
    columns = "id, code, rule_version, definition"
    named = ", ".join(f"decision_rule.{column.strip()}" for column in columns.split(","))
    return rows_of(session, named, "decision_rule", "id", keys)


def time_zone(session: Session) -> str | None:
    """IANA name of the laboratory's zone; None until one is recorded."""
    return session.scalar(select(Laboratory.time_zone))


def item(session: Session, code: str) -> ItemRow | None:
    """The item of this id, if it is recorded."""
    key = session.scalar(select(Item.id).where(Item.code == code))
    found = [] if key is None else _rows(session, ItemRow, "item", "id", [key])
    return next(map(ItemRow._make, found), None)


def item_keys(session: Session, codes: Collection[str]) -> set[int]:
    """Keys of the items of these ids."""
    return {
        key
        for some in chunks(sorted(codes))
        for key in session.scalars(select(Item.id).where(Item.code.in_(some)))
    }


def holdings() -> Select[int, str, str, int, int | None]:
    """Every holding as a `HoldingRow`."""
    return (
        select(
            Composition.id,
            Assembly.code.label("assembly"),
            Part.code.label("part"),
            Composition.from_us,
            Composition.until_us,
        )
        .join(Assembly, Assembly.id == Composition.assembly_id)
        .join(Part, Part.id == Composition.part_id)
    )


def holdings_of(session: Session, parts: Collection[str]) -> list[HoldingRow]:
    """Which assemblies held these parts, and when, by key of the holding."""
    rows = (
        HoldingRow._make(row)
        for some in chunks(sorted(parts))
        for row in session.execute(holdings().where(Part.code.in_(some)))
    )
    return sorted(rows, key=lambda row: row.id)


def checks_of(session: Session, item: int) -> list[CheckRow]:
    """Checks of an item."""
    rows = _rows(session, CheckRow, "intermediate_check", "item_id", [item])
    return list(map(CheckRow._make, rows))


def recalibrations(
    session: Session, item: int, start_us: int | None, end_us: int | None
) -> list[RecalibrationRow]:
    """Issued calibrations of an item inside (start, end]."""
    statement = select(
        Certificate.number,
        Certificate.revision,
        Certificate.performed_at,
        Certificate.performed_us,
    ).where(Certificate.item_id == item, Certificate.status == "issued")
    if start_us is not None:
        statement = statement.where(Certificate.performed_us > start_us)
    if end_us is not None:
        statement = statement.where(Certificate.performed_us <= end_us)
    return [RecalibrationRow._make(row) for row in session.execute(statement)]


def numbered(session: Session, number: str) -> list[NumberRow]:
    """All certificates of a number, newest revision first."""
    statement = select(
        Certificate.id, Certificate.issuer, Certificate.revision, Certificate.status
    ).where(Certificate.number == number)
    rows = session.execute(statement.order_by(Certificate.revision.desc()))
    return [NumberRow._make(row) for row in rows]


def _rows(
    session: Session, row: Any, table: str, key: str, keys: Collection[int]
) -> Iterator[tuple[Any, ...]]:
    quote = session.connection().dialect.identifier_preparer.quote
    columns = ", ".join(f"{table}.{quote(name)}" for name in row._fields)
    return rows_of(session, columns, table, key, keys)
