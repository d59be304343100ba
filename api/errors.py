"""What can go wrong, in the words of the domain; the web layer maps each class to one status.

TraceholdError
├── InvalidRecord       what was sent contradicts itself or the trade (422)
├── UnknownReference    a link to something that is not recorded (422)
├── NotFound            the thing addressed does not exist (404)
├── Conflict            the same identity is recorded with other content (409)
│   └── DoubtfulGround  a certificate would be issued though something speaks against it (409)
├── StaleVersion        somebody else changed it in between (412)
├── Forbidden           the key may not do this (403)
└── TooLarge            more rows or records than are taken at once (413)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Issue:
    """One fault in what was sent: where it is, what is wrong and how to mend it.

    ``pointer`` is a JSON Pointer (RFC 6901) into the request body; empty means the whole of it.
    ``at`` says where in a body that is no single document: ``line``, or ``file, row, column``; the
    pointer is then one into that line. ``code`` names the kind of fault, where there are kinds, and
    ``weight`` whether it stops what was asked or is to be borne in mind, where there is either.
    """

    pointer: str
    detail: str
    remedy: str = ""
    value: str | None = None
    at: Mapping[str, int | str] | None = None
    code: str | None = None
    weight: str | None = None


class TraceholdError(Exception):
    """Base of every error that a caller can mend."""

    code = "error"

    def __init__(self, detail: str, issues: Sequence[Issue] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.issues = tuple(issues)


class InvalidRecord(TraceholdError):
    """What was sent contradicts itself or the rules of the trade; nothing was stored."""

    code = "invalid-record"


class UnknownReference(InvalidRecord):
    """A record names an item, certificate, rule or specification that is not recorded."""

    code = "unknown-reference"


class NotFound(TraceholdError):
    """The resource addressed does not exist."""

    code = "not-found"


class Conflict(TraceholdError):
    """The same identity is already recorded with other content, or its state forbids the change."""

    code = "conflict"


class DoubtfulGround(Conflict):
    """Something speaks against issuing a certificate, and nobody answers for it; nothing stored."""

    code = "doubtful-ground"


class StaleVersion(TraceholdError):
    """The record changed since the caller read it."""

    code = "stale-version"


class Forbidden(TraceholdError):
    """The key is valid but may not do this."""

    code = "forbidden"


class TooLarge(TraceholdError):
    """More rows or records were sent than are taken at once."""

    code = "body-too-large"


def pointer(*parts: str | int) -> str:
    """JSON Pointer from its parts (RFC 6901 escapes).

    >>> pointer("calibrations", 3, "uses", 0, "a/b")
    '/calibrations/3/uses/0/a~1b'
    """
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)
