"""What a recall reads: certificates, uses and results by key, and the few rows around them."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from api.store.keyed import rows_of
from api.store.tables import Certificate, Check, Item

Rows = Sequence[Row[*tuple[Any, ...]]]


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


def checks_of(session: Session, item: int) -> Rows:
    """Checks of an item, with the id of the item they were made against."""
    against = select(Item.code).where(Item.id == Check.against_id).scalar_subquery()
    return session.execute(
        select(Check, against.label("against"))
        .where(Check.item_id == item)
        .order_by(Check.performed_us, Check.code)
    ).all()


def recalibrations(session: Session, item: int, start_us: int | None, end_us: int | None) -> Rows:
    """Issued calibrations of an item inside (start, end]."""
    statement = select(Certificate.number, Certificate.revision, Certificate.performed_at).where(
        Certificate.item_id == item, Certificate.status == "issued"
    )
    if start_us is not None:
        statement = statement.where(Certificate.performed_us > start_us)
    if end_us is not None:
        statement = statement.where(Certificate.performed_us <= end_us)
    return session.execute(statement.order_by(Certificate.performed_us, Certificate.number)).all()


def _rows(
    session: Session, row: Any, table: str, key: str, keys: Collection[int]
) -> Iterator[tuple[Any, ...]]:
    quote = session.connection().dialect.identifier_preparer.quote
    columns = ", ".join(f"{table}.{quote(name)}" for name in row._fields)
    return rows_of(session, columns, table, key, keys)
