"""Which certificate a number means: its issuer, its revisions, and the one that counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar

from api.errors import Conflict, Issue, NotFound


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


def of_one_issuer(numbered: Sequence[Found], number: str, issuer: str | None = None) -> list[Found]:
    """Return those of a number's certificates that are meant, see `revisions.revisions`."""
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


def the_one(found: Sequence[Found], number: str, revision: int | None = None) -> Found:
    """Return one of the revisions of a number, newest first; see `revisions.choose`."""
    if revision is None:
        return next((one for one in found if one.status == "issued"), found[0])
    for one in found:
        if one.revision == revision:
            return one
    raise NotFound(f'certificate "{number}" has no revision {revision}')
