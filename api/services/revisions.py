"""Which certificate a number means: its issuer, its revisions, and the one that counts."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue, NotFound
from api.services.changes import customer_key
from api.store.tables import Certificate


def revisions(
    session: Session, number: str, issuer: str | None = None, owner: str | None = None
) -> list[Certificate]:
    """Return all revisions of a number, newest first; NotFound if there is none.

    Without issuer the laboratory's own certificates are meant, else the only issuer's. With an
    owner there are only the certificates of the customer of that name.
    """
    statement = select(Certificate).where(Certificate.number == number)
    if issuer is not None:
        statement = statement.where(Certificate.issuer == issuer)
    if owner is not None:
        statement = statement.where(Certificate.customer_id == customer_key(owner))
    found = list(session.scalars(statement.order_by(Certificate.revision.desc())))
    own = [one for one in found if one.issuer == ""]
    if issuer is None and own:
        found = own
    if not found:
        raise NotFound(f'certificate "{number}" is not recorded')
    issuers = sorted({one.issuer for one in found})
    if len(issuers) > 1:
        issue = Issue("", "several issuers use this number", "add ?issuer=", ", ".join(issuers))
        raise Conflict(f'certificate "{number}" is not one certificate', [issue])
    return found


def choose(
    session: Session,
    number: str,
    issuer: str | None = None,
    revision: int | None = None,
    owner: str | None = None,
) -> Certificate:
    """Return the revision asked for, else the issued one, else the newest."""
    found = revisions(session, number, issuer, owner)
    if revision is None:
        return next((one for one in found if one.status == "issued"), found[0])
    for one in found:
        if one.revision == revision:
            return one
    raise NotFound(f'certificate "{number}" has no revision {revision}')
