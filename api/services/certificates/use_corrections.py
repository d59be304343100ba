"""A wrongly recorded use, put right: what a certificate states stays, what it rested on is mended.

The use is part of the technical records (ISO/IEC 17025:2017, 7.5.2): the correction keeps
the use as it was, what it became, who changed it, when and why. What was in force is resolved again
and recalls that it may change are marked, all in one transaction.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import delete, func, insert, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue
from api.services.base.record import Record
from api.services.base.recording import Recording
from api.services.certificates.circles import refuse_through_parts
from api.services.certificates.in_force import refuse_circle
from api.services.certificates.uses import use_row
from api.services.grounds.issues import refuse_isolated
from api.store import link_checks
from api.store.in_force import resolve_certificate
from api.store.journal import note as journal_note
from api.store.links import role_mark
from api.store.record_changes import touched
from api.store.tables import Certificate, Item, Result, Usage, UseCorrection
from graph.moments import Moment, text_of

KEPT = (
    "role",
    "weight",
    "channel",
    "points",
    "performed_at",
    "factor_applied",
    "named_certificate",
    "named_revision",
    "note",
)


def correct(
    recording: Recording, certificate: Certificate, position: int, correction: Record
) -> UseCorrection:
    """Replace the use at a position (or remove it, where no use is given) and keep the old one.

    The other uses keep their positions, so that later corrections name them as before.

    Raises
    ------
    InvalidRecord
        If there is no such use, or the new one contradicts the certificate.
    """
    session = recording.session
    old = session.scalars(
        select(Usage).where(Usage.certificate_id == certificate.id, Usage.position == position)
    ).first()
    if old is None:
        remedy = "count from 0; a use that was forgotten is sent to .../uses"
        issue = Issue("/position", f"there is no use {position}", remedy, str(position))
        raise InvalidRecord("nothing to correct", [issue])
    before = _shown(session, old)
    removed = [old.item_id]
    session.execute(delete(Usage).where(Usage.id == old.id))
    return _put(recording, certificate, position, before, correction, removed)


def add(recording: Recording, certificate: Certificate, correction: Record) -> UseCorrection:
    """Add a use that was forgotten, at a position that none had.

    Raises InvalidRecord if it contradicts the certificate.
    """
    taken = [
        recording.session.scalar(
            select(func.max(table.position)).where(table.certificate_id == certificate.id)
        )
        for table in (Usage, UseCorrection)
    ]
    position = max((one for one in taken if one is not None), default=-1) + 1
    return _put(recording, certificate, position, None, correction)


def _put(
    recording: Recording,
    certificate: Certificate,
    position: int,
    before: Record | None,
    correction: Record,
    removed: Sequence[int] = (),
) -> UseCorrection:
    session = recording.session
    recording.single = "use"
    new = correction.get("use")
    if new is not None:
        _insert(recording, certificate, position, new)
    _refresh(recording, certificate)
    if new is not None and "override" not in new:
        refuse_isolated(session, certificate, new["item"])
    made = UseCorrection(
        certificate_id=certificate.id,
        position=position,
        before=before,
        after=None if new is None else _of_row(session, certificate.id, position),
        person=correction["by"],
        reason=correction["reason"],
        at_us=recording.now_us,
    )
    session.add(made)
    session.flush()
    journal_note(
        session,
        "use corrected",
        by=made.person,
        certificate=certificate.number,
        revision=certificate.revision,
        position=position,
        reason=made.reason,
    )
    touched(
        session,
        f"a use of {certificate.number} was corrected",
        recording.now_us,
        certificates=[certificate.id],
        items=removed,
    )
    return made


def corrections(session: Session, certificate: int) -> list[Record]:
    """Return the corrections of a certificate's uses, oldest first."""
    rows = session.scalars(
        select(UseCorrection)
        .where(UseCorrection.certificate_id == certificate)
        .order_by(UseCorrection.id)
    )
    return [
        {
            "position": row.position,
            "before": row.before,
            "after": row.after,
            "by": row.person,
            "reason": row.reason,
            "at": text_of(row.at_us),
        }
        for row in rows
    ]


def _insert(recording: Recording, certificate: Certificate, position: int, use: Record) -> None:
    recording.know_items({use["item"]})
    points = recording.session.scalars(
        select(Result.point).where(Result.certificate_id == certificate.id)
    )
    performed = Moment(certificate.performed_us, certificate.performed_end_us)
    names = {str(point) for point in points}
    row = use_row(recording, use, position, performed, names, "/use")
    recording.check()
    recording.session.execute(insert(Usage), [row | {"certificate_id": certificate.id}])


def _refresh(recording: Recording, certificate: Certificate) -> None:
    """Bring up to date what is derived from the uses of a certificate."""
    session = recording.session
    resolve_certificate(session, certificate.id)
    roles = session.scalars(select(Usage.role).where(Usage.certificate_id == certificate.id))
    certificate.roles = "".join(sorted({role_mark(role) for role in roles}))
    session.flush()
    unknown = session.scalars(
        select(Usage.named_certificate).where(
            Usage.certificate_id == certificate.id,
            Usage.named_certificate.is_not(None),
            Usage.source_id.is_(None),
        )
    ).first()
    if unknown is not None:
        remedy = "record that certificate first, or mend the number and revision"
        recording.refuse("/use/certificate", f'no certificate "{unknown}" of it', remedy, unknown)
    refuse_circle(recording, link_checks.touched_by_items(session, {certificate.item_id}))
    recording.check()
    used = session.scalars(select(Usage.item_id).where(Usage.certificate_id == certificate.id))
    refuse_through_parts(session, {certificate.item_id, *used}, "/use/item")


def _of_row(session: Session, certificate: int, position: int) -> Record:
    statement = select(Usage).where(Usage.certificate_id == certificate, Usage.position == position)
    return _shown(session, session.scalars(statement).one())


def _shown(session: Session, use: Usage) -> Record:
    code = session.scalars(select(Item.code).where(Item.id == use.item_id)).one()
    return kept(use, code)


def kept(use: Usage, code: str) -> Record:
    """Return a use of the item of this id as a correction keeps it."""
    shown: dict[str, Any] = {"item": code}
    for name in KEPT:
        value = getattr(use, name)
        if value is not None:
            shown[name.removeprefix("named_")] = (
                format(value, "f") if name == "factor_applied" else value
            )
    return shown
