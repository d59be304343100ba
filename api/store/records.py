"""Certificates with their uses and results, read by key in as few statements as possible."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import Row, Select, select
from sqlalchemy.orm import Session

from api.store.chunks import chunks
from api.store.tables import (
    Certificate,
    Check,
    Composition,
    Customer,
    DecisionRule,
    Item,
    Result,
    Usage,
)

Rows = Sequence[Row[*tuple[Any, ...]]]


def certificates(session: Session, keys: Iterable[int]) -> Iterator[Row[Any]]:
    """Certificates with the code and type of their item and the name of their customer."""
    statement = (
        select(
            Certificate.id,
            Certificate.issuer,
            Certificate.number,
            Certificate.revision,
            Certificate.status,
            Certificate.performed_us,
            Certificate.performed_end_us,
            Certificate.assigns_value,
            Certificate.external,
            Certificate.superseded_by,
            Certificate.void_reason,
            Certificate.content_hash,
            Item.code.label("item"),
            Item.type.label("item_type"),
            Customer.name.label("customer"),
        )
        .join(Item, Item.id == Certificate.item_id)
        .outerjoin(Customer, Customer.id == Certificate.customer_id)
    )
    return _by_key(session, statement, Certificate.id, keys)


def uses(session: Session, keys: Iterable[int]) -> Iterator[Row[Any]]:
    """Uses of these certificates, in the order of their record."""
    statement = select(
        Usage.certificate_id,
        Usage.role,
        Usage.weight,
        Usage.channel,
        Usage.points,
        Usage.used_us,
        Usage.used_end_us,
        Usage.factor_applied,
        Usage.source_id,
        Usage.evidence_id,
        Item.code.label("item"),
    ).join(Item, Item.id == Usage.item_id)
    return _by_key(session, statement, Usage.certificate_id, keys, Usage.position)


def results(session: Session, keys: Iterable[int]) -> Iterator[Row[Any]]:
    """Results of these certificates, in the order of their record."""
    statement = select(
        Result.certificate_id,
        Result.point,
        Result.stage,
        Result.unit,
        Result.applied,
        Result.indicated,
        Result.error,
        Result.U,
        Result.k,
        Result.dof,
        Result.error_rel_pct,
        Result.U_rel_pct,
        Result.limit_lower,
        Result.limit_upper,
        Result.rule_id,
        Result.verdict_reported,
    )
    return _by_key(session, statement, Result.certificate_id, keys, Result.position)


def checks_of(session: Session, item: int) -> Rows:
    """Checks of an item, with the key and code of the item they were made against."""
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


def rules(session: Session, keys: Iterable[int]) -> Iterator[Row[Any]]:
    """Definitions of decision rules by key."""
    statement = select(
        DecisionRule.id, DecisionRule.code, DecisionRule.rule_version, DecisionRule.definition
    )
    return _by_key(session, statement, DecisionRule.id, keys)


def holdings_hash_rows(session: Session, items: Iterable[int]) -> Iterator[Row[Any]]:
    """Holdings of these parts as recorded, for a digest of what a recall rested on."""
    statement = select(Composition.part_id, Composition.from_us, Composition.until_us)
    return _by_key(session, statement, Composition.part_id, items, Composition.id)


def _by_key(
    session: Session,
    statement: Select[*tuple[Any, ...]],
    column: Any,
    keys: Iterable[int],
    *order: Any,
) -> Iterator[Row[Any]]:
    for some in chunks(sorted(set(keys))):
        yield from session.execute(statement.where(column.in_(some)).order_by(column, *order))
