"""Which certificate's value was in force for each use: resolved when records are written.

The value in force is that of the certificate that the use names, else of the item's latest
calibration not later than the use that assigns a value (one instant: the highest revision), among
those that served then (`api.store.serving`) and whose mode is that of the using calibration or not
recorded on either side. Beside it stands the latest such calibration of any kind, where that one
only confirmed limits. A bare date counts as the end of its day for a use or a void and as its start
for a calibration or an issue, which is what ``used_end_us``, ``performed_us`` and the interval of a
certificate hold.

A certificate that a use names is followed whatever its status, mode or range. Where the name leaves
the revision open, the issued one is meant, else the one that served at the use.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Row,
    ScalarSelect,
    and_,
    case,
    exists,
    func,
    null,
    or_,
    select,
    true,
    update,
)
from sqlalchemy.orm import Session, aliased

from api.store.chunks import chunks
from api.store.tables import Certificate, Usage

Earlier = aliased(Certificate)
User = aliased(Certificate)


def resolve_after(session: Session, first_certificate: int) -> None:
    """Resolve every use that certificates recorded from this key on make or may change."""
    _resolve(session, Usage.certificate_id >= first_certificate)
    # By date a new certificate changes only what came after it: an item that served for years has
    # very many earlier uses. The items are named one by one: given as a subquery, or joined to the
    # condition above, they would make PostgreSQL read every use there is.
    later = exists().where(
        Certificate.id >= first_certificate,
        Certificate.item_id == Usage.item_id,
        Certificate.performed_us <= Usage.used_end_us,
    )
    touched = (Usage.certificate_id < first_certificate) & (
        later | Usage.named_certificate.is_not(None)
    )
    items = set(
        session.scalars(select(Certificate.item_id).where(Certificate.id >= first_certificate))
    )
    for some in chunks(sorted(items)):
        _resolve(session, Usage.item_id.in_(some) & touched)


def resolve_certificate(session: Session, certificate: int) -> None:
    """Resolve again every use of one certificate, after they were corrected."""
    _resolve(session, Usage.certificate_id == certificate)


def resolve_items(session: Session, items: Sequence[int]) -> None:
    """Resolve again every use of these items, after one of their certificates changed."""
    for some in chunks(items):
        _resolve(session, Usage.item_id.in_(some))


def unresolved(session: Session) -> list[Row[str, int, int]]:
    """Uses whose stored sources are not what `resolve_items` would find: certificate and position.

    A use that names its certificate is held to the number and item of its source alone, since which
    revision was meant depends on when it was recorded.
    """
    by_date = Usage.named_certificate.is_(None)
    source = aliased(Certificate)
    named_right = select(source.id).where(
        source.id == Usage.source_id,
        source.number == Usage.named_certificate,
        source.item_id == Usage.item_id,
    )
    wrong = or_(
        and_(by_date, Usage.source_id.is_distinct_from(_value())),
        and_(by_date, Usage.evidence_id.is_distinct_from(_evidence())),
        and_(~by_date, ~named_right.exists()),
    )
    return list(
        session.execute(
            select(Certificate.number, Certificate.revision, Usage.position)
            .join(Certificate, Certificate.id == Usage.certificate_id)
            .where(wrong)
            .order_by(Usage.id)
        )
    )


def _value() -> ScalarSelect[Any]:
    return _latest(Earlier.id, Earlier.assigns_value.is_(True))


def _evidence() -> ScalarSelect[Any]:
    return _latest(case((Earlier.assigns_value.is_(True), null()), else_=Earlier.id))


def _resolve(session: Session, touched: ColumnElement[bool]) -> None:
    by_date = Usage.named_certificate.is_(None)
    session.execute(
        update(Usage)
        .where(by_date, touched)
        .values(source_id=_value(), evidence_id=_evidence())
        .execution_options(synchronize_session=False)
    )
    session.execute(
        update(Usage)
        .where(Usage.named_certificate.is_not(None), touched)
        .values(source_id=_named(), evidence_id=null())
        .execution_options(synchronize_session=False)
    )


def _named() -> ColumnElement[Any]:
    """The certificate of this name: issued, else in force at the use, else the newest."""
    candidates = (
        select(Earlier.id)
        .where(
            Earlier.number == Usage.named_certificate,
            Earlier.item_id == Usage.item_id,
            or_(Usage.named_revision.is_(None), Earlier.revision == Usage.named_revision),
        )
        .order_by(Earlier.revision.desc())
        .limit(1)
    )
    # One by one: SQLite knows no column of the use in an ORDER BY.
    chosen = (Earlier.status == "issued", served(Earlier), true())
    return func.coalesce(*(candidates.where(one).scalar_subquery() for one in chosen))


def served(certificate: type[Certificate]) -> ColumnElement[bool]:
    """Whether the value of a certificate served when an item was used."""
    return and_(
        certificate.serves_from_us <= Usage.used_end_us,
        or_(certificate.serves_until_us.is_(None), certificate.serves_until_us > Usage.used_end_us),
    )


def _latest(column: Any, *conditions: ColumnElement[bool]) -> ScalarSelect[Any]:
    using = select(User.mode).where(User.id == Usage.certificate_id).correlate(Usage)
    mode = using.scalar_subquery()
    return (
        select(column)
        .where(
            Earlier.item_id == Usage.item_id,
            Earlier.performed_us <= Usage.used_end_us,
            served(Earlier),
            # Looked up only for a certificate that has a mode.
            or_(Earlier.mode.is_(None), func.coalesce(mode, Earlier.mode) == Earlier.mode),
            *conditions,
        )
        .order_by(Earlier.performed_us.desc(), Earlier.revision.desc(), Earlier.number.desc())
        .limit(1)
        .scalar_subquery()
    )
