"""What recording and verification ask of the links between certificates, and a recall never does.

Which names stand for nothing, which calibration would rest on itself, what a change touches.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Row, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from api.store.chunks import chunks
from api.store.in_force import served
from api.store.links import users_of_items
from api.store.reading import SessionReader
from api.store.tables import Certificate, Check, Composition, Item, Usage

Source = aliased(Certificate)
Edge = tuple[int, int]


def unresolved_names(session: Session, first: int) -> Sequence[Row[*tuple[Any, ...]]]:
    """Uses of certificates from this key on that name a certificate which was not found.

    A name without revision means one that is issued, or served at the use, so a number of which
    there is neither is not found.
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
                # The interval may have no beginning: such a certificate never served.
                Usage.named_revision.is_(None)
                & (Source.status != "issued")
                & func.coalesce(~served(Source), True),
            ),
        )
        # By Usage.id, SQLite would read every use in that order.
        .order_by(Usage.certificate_id, Usage.position)
    ).all()


def certificates_from(session: Session, first: int) -> set[int]:
    """Keys of the certificates recorded from this key on."""
    return set(session.scalars(select(Certificate.id).where(Certificate.id >= first)))


def items_from(session: Session, first: int) -> set[int]:
    """Keys of the items of the certificates recorded from this key on."""
    return set(session.scalars(select(Certificate.item_id).where(Certificate.id >= first)))


def used_from(session: Session, first: int) -> set[int]:
    """Keys of the items that the certificates recorded from this key on used."""
    # Not DISTINCT: SQLite would read the items of all uses for it.
    return set(session.scalars(select(Usage.item_id).where(Usage.certificate_id >= first)))


def certificates_of(session: Session, item: int) -> set[int]:
    """Keys of the certificates of an item."""
    return set(session.scalars(select(Certificate.id).where(Certificate.item_id == item)))


def not_back_in_time(session: Session) -> set[int]:
    """Certificates that rest on one which is not strictly earlier; reads every use."""
    found: set[int] = set()
    for link in (Usage.source_id, Usage.evidence_id):
        found.update(
            session.scalars(
                select(Usage.certificate_id)
                .join(Certificate, Certificate.id == Usage.certificate_id)
                .join(Source, Source.id == link)
                .where(Source.performed_us >= Certificate.performed_us)
            )
        )
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
    texts = (
        Certificate.due_at,
        Certificate.issued_at,
        Certificate.voided_at,
        Composition.held_from,
        Composition.held_until,
        Item.in_service_from,
    )
    return or_(
        exists().where(Certificate.performed_end_us != Certificate.performed_us),
        exists().where(Usage.used_end_us != Usage.used_us),
        exists().where(Check.performed_end_us != Check.performed_us),
        *(exists().where(func.length(text) == len("2025-03-10")) for text in texts),
    )


def touched_by_items(session: Session, items: Collection[int]) -> set[int]:
    """Certificates of these items, and certificates that used them: what a change there touches."""
    own = {
        key
        for some in chunks(sorted(items))
        for key in session.scalars(select(Certificate.id).where(Certificate.item_id.in_(some)))
    }
    return own | users_of_items(SessionReader(session), items)
