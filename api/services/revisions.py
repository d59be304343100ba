"""Which certificate a number means: its issuer, its revisions, and the one that counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue, NotFound
from api.services.changes import customer_key
from api.store.tables import Certificate


class Numbered(Protocol):
    """One revision of a certificate, however it is held."""

    @property
    def issuer(self) -> str:
        """Who issued it; empty for the laboratory itself."""

    @property
    def revision(self) -> int:
        """Its revision."""

    @property
    def status(self) -> str:
        """Its status."""


Found = TypeVar("Found", bound=Numbered)


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


def of_one_issuer(numbered: Sequence[Found], number: str, issuer: str | None = None) -> list[Found]:
    """Return those of a number's certificates that are meant, see `revisions`."""
    found = [one for one in numbered if issuer is None or one.issuer == issuer]
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
    return the_one(revisions(session, number, issuer, owner), number, revision)


def the_one(found: Sequence[Found], number: str, revision: int | None = None) -> Found:
    """Return one of the revisions of a number, newest first; see `choose`."""
    if revision is None:
        return next((one for one in found if one.status == "issued"), found[0])
    for one in found:
        if one.revision == revision:
            return one
    raise NotFound(f'certificate "{number}" has no revision {revision}')
