"""Reads along the resolved links between certificates, upwards and downwards, level by level."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Row, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from api.store.chunks import chunks
from api.store.keyed import rows_of
from api.store.tables import Certificate, Check, Composition, Item, Usage, role_mark

Source = aliased(Certificate)
Edge = tuple[int, int]
Span = tuple[int | None, int | None]
# Longer than any bare date lasts, however the clocks of its zone were changed.
LONGEST_DAY_US = 3 * 86_400_000_000


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
        # By Usage.id, SQLite would read every use in that order.
        .order_by(Usage.certificate_id, Usage.position)
    ).all()


def certificates_from(session: Session, first: int) -> set[int]:
    """Keys of the certificates recorded from this key on."""
    return set(session.scalars(select(Certificate.id).where(Certificate.id >= first)))


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
    own = {key for (key,) in rows_of(session, "certificate.id", "certificate", "item_id", items)}
    return own | users_of_items(session, items)


def users_of_items(session: Session, items: Collection[int]) -> set[int]:
    """Certificates that ever used one of these items."""
    return {key for (key,) in rows_of(session, "usage.certificate_id", "usage", "item_id", items)}


def users_of_certificate(session: Session, certificate: int) -> set[int]:
    """Certificates that took a value from this one."""
    users = rows_of(session, "usage.certificate_id", "usage", "source_id", [certificate])
    return {key for (key,) in users}


def certificates_by_method(session: Session, method: str) -> set[int]:
    """Certificates whose calibration recorded this method."""
    return set(session.scalars(select(Certificate.id).where(Certificate.method == method)))


def roles_of(session: Session, items: Collection[int]) -> set[str]:
    """Roles in which these items were ever used."""
    return {role for (role,) in rows_of(session, "DISTINCT usage.role", "usage", "item_id", items)}


def lacking_roles(session: Session, roles: Collection[str], window: Span) -> list[int]:
    """Our own issued certificates of the window, of whose uses none has one of the roles."""
    marks = [role_mark(role) for role in roles]
    lacking = [text for text in _texts_of_roles(session) if not any(mark in text for mark in marks)]
    first, last = window
    found: list[int] = []
    for some in chunks(lacking):
        statement = select(Certificate.id).where(
            Certificate.roles.in_(some),
            Certificate.status == "issued",
            Certificate.external.is_(False),
        )
        if first is not None:
            # The first comparison is for the index, the second for the bare dates.
            statement = statement.where(
                Certificate.performed_us >= first - LONGEST_DAY_US,
                Certificate.performed_end_us >= first,
            )
        if last is not None:
            statement = statement.where(Certificate.performed_us <= last)
        found.extend(session.scalars(statement))
    return found


def _texts_of_roles(session: Session) -> list[str]:
    """Every text that ``Certificate.roles`` holds: few, and each found by one step in the index."""
    least = select(func.min(Certificate.roles).label("roles")).cte("texts", recursive=True)
    following = select(func.min(Certificate.roles)).where(Certificate.roles > least.c.roles)
    texts = least.union_all(select(following.scalar_subquery()).where(least.c.roles.is_not(None)))
    return list(session.scalars(select(texts.c.roles).where(texts.c.roles.is_not(None))))


def everything_downward(session: Session, certificates: Iterable[int]) -> set[int]:
    """These certificates and all that could rest on them, level by level.

    Whoever merely used an item whose latest calibration confirmed limits is reached, but nothing is
    followed from there: such exposure goes one step.
    """
    reached = set(certificates)
    ends = set[int]()
    frontier = set(reached)
    while frontier:
        at_once = sorted(frontier)
        users = rows_of(session, "usage.certificate_id", "usage", "source_id", at_once)
        below = {key for (key,) in users}
        exposed = rows_of(session, "usage.certificate_id", "usage", "evidence_id", at_once)
        ends.update(key for (key,) in exposed)
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
