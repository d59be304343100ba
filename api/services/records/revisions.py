"""The certificates of a number, as the database holds them."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.records.certificate_numbers import of_one_issuer, the_one
from api.services.records.customers import customer_key
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
    found = session.scalars(statement.order_by(Certificate.revision.desc())).all()
    return of_one_issuer(found, number, issuer)


def choose(
    session: Session,
    number: str,
    issuer: str | None = None,
    revision: int | None = None,
    owner: str | None = None,
) -> Certificate:
    """Return the revision asked for, else the issued one, else the newest."""
    return the_one(revisions(session, number, issuer, owner), number, revision)
