"""Reads along the resolved links between certificates, upwards and downwards, level by level."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Row, exists, or_, select
from sqlalchemy.orm import Session, aliased

from api.store.chunks import chunks
from api.store.tables import Certificate, Check, Item, Usage

Source = aliased(Certificate)
Edge = tuple[int, int]


def unresolved_names(session: Session, first: int) -> Sequence[Row[*tuple[Any, ...]]]:
    """Uses of certificates from this key on that name a certificate which was not found.

    A name without revision means an issued one, so a number of which none is issued is not found.
    """
    return session.execute(
        select(
            Certificate.issuer,
            Certificate.number,
            Certificate.revision,
            Usage.position,
            Usage.named_certificate,
            Usage.named_revision,
            Item.code.label("item"),
        )
        .join(Certificate, Certificate.id == Usage.certificate_id)
        .join(Item, Item.id == Usage.item_id)
        .outerjoin(Source, Source.id == Usage.source_id)
        .where(
            Usage.certificate_id >= first,
            Usage.named_certificate.is_not(None),
            or_(
                Usage.source_id.is_(None),
                Usage.named_revision.is_(None) & (Source.status != "issued"),
            ),
        )
        .order_by(Usage.id)
    ).all()


def links_not_back_in_time(session: Session, first: int) -> list[Edge]:
    """(certificate, what it rests on) of touched uses whose source is not strictly earlier."""
    items = select(Certificate.item_id).where(Certificate.id >= first)
    touched = or_(Usage.certificate_id >= first, Usage.item_id.in_(items))
    found: list[Edge] = []
    for link in (Usage.source_id, Usage.evidence_id):
        rows = session.execute(
            select(Usage.certificate_id, Source.id)
            .join(Certificate, Certificate.id == Usage.certificate_id)
            .join(Source, Source.id == link)
            .where(touched, Source.performed_us >= Certificate.performed_us)
        )
        found.extend(rows)
    return found


def everything_upward(session: Session, certificates: Iterable[int]) -> Iterator[Edge]:
    """All links from these certificates up to the roots, as (certificate, what it rests on)."""
    frontier, seen = set(certificates), set[int]()
    while frontier:
        seen |= frontier
        above: set[int] = set()
        for some in chunks(sorted(frontier)):
            rows = session.execute(
                select(Usage.certificate_id, Usage.source_id, Usage.evidence_id).where(
                    Usage.certificate_id.in_(some)
                )
            )
            for certificate, *sources in rows:
                for source in sources:
                    if source is not None:
                        above.add(source)
                        yield certificate, source
        frontier = above - seen


def numbers_of(session: Session, certificates: Collection[int]) -> dict[int, str]:
    """Numbers of certificates by key."""
    return dict(
        pair
        for some in chunks(sorted(set(certificates)))
        for pair in session.execute(
            select(Certificate.id, Certificate.number).where(Certificate.id.in_(some))
        )
    )


def bare_dates_recorded() -> ColumnElement[bool]:
    """Whether any record holds a bare date, whose instants depend on the time zone."""
    return or_(
        exists().where(Certificate.performed_end_us != Certificate.performed_us),
        exists().where(Usage.used_end_us != Usage.used_us),
        exists().where(Check.performed_end_us != Check.performed_us),
    )


def users_of_items(session: Session, items: Iterable[int]) -> set[int]:
    """Certificates that ever used one of these items."""
    found: set[int] = set()
    for some in chunks(sorted(set(items))):
        found.update(
            session.scalars(select(Usage.certificate_id).where(Usage.item_id.in_(some)).distinct())
        )
    return found


def everything_downward(session: Session, certificates: Iterable[int]) -> set[int]:
    """These certificates and all that could rest on them, level by level.

    Whoever merely used an item whose latest calibration confirmed limits is reached, but nothing is
    followed from there: such exposure goes one step.
    """
    reached = set(certificates)
    ends = set[int]()
    frontier = set(reached)
    while frontier:
        below: set[int] = set()
        for some in chunks(sorted(frontier)):
            below.update(
                session.scalars(select(Usage.certificate_id).where(Usage.source_id.in_(some)))
            )
            ends.update(
                session.scalars(select(Usage.certificate_id).where(Usage.evidence_id.in_(some)))
            )
        frontier = below - reached
        reached |= frontier
    return reached | ends


def items_upward(session: Session, certificates: Iterable[int]) -> set[int]:
    """Keys of all items that these certificates rest on, directly or through others."""
    frontier, seen, items = set(certificates), set[int](), set[int]()
    while frontier:
        seen |= frontier
        above: set[int] = set()
        for some in chunks(sorted(frontier)):
            rows = session.execute(
                select(Usage.item_id, Usage.source_id).where(Usage.certificate_id.in_(some))
            )
            for item, source in rows:
                items.add(item)
                if source is not None:
                    above.add(source)
        frontier = above - seen
    return items


def certificate_in_force(session: Session, item: int, at_us: int) -> int | None:
    """Key of the certificate whose value an item carries at this instant, if any."""
    return session.scalar(
        select(Certificate.id)
        .where(
            Certificate.item_id == item,
            Certificate.status == "issued",
            Certificate.assigns_value.is_(True),
            Certificate.performed_us <= at_us,
        )
        .order_by(
            Certificate.performed_us.desc(), Certificate.revision.desc(), Certificate.number.desc()
        )
        .limit(1)
    )
