"""What a second look at a fault changes: certificates added, gone, in another list, or moved.

Two looks are compared by the list of each certificate and the hash of its entry, so that no text of
either is read; whoever differs is named by the records.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from hashlib import blake2b
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.recalls.run import Answer
from api.store.keyed import rows_of
from api.store.reading import SessionReader
from api.store.tables import RecallEntry
from graph.lists import CLEARED

# Names are for people; the counts beside them are complete.
MOST_NAMED = 1_000
KINDS = ("added", "removed", "moved", "changed")
BOUNDS = ("start", "start_inclusive", "end", "end_inclusive")


class Seen(NamedTuple):
    """One entry of a recall: its list, and the hash of its JSON text."""

    list_name: str
    body_hash: str


def hash_of(text: str) -> str:
    """Hash by which two entries are the same.

    >>> hash_of("{}")
    '2afb9b83f9314e5d029766197f539792'
    """
    return blake2b(text.encode(), digest_size=16).hexdigest()


def windows_of(head: Mapping[str, Any]) -> list[Record]:
    """Return the windows of a head as they are shown, one for each fault."""
    return head["windows"] if "windows" in head else [head["window"]]


def bounds_of(head: Mapping[str, Any]) -> list[Record]:
    """Return from when to when its windows are; which checks were weighed is no part of that."""
    return [{name: one[name] for name in BOUNDS} for one in windows_of(head)]


def stored_entries(session: Session, recall: int) -> dict[int, Seen]:
    """Return the entries of a stored recall by certificate key."""
    rows = session.execute(
        select(RecallEntry.certificate_id, RecallEntry.list_name, RecallEntry.body_hash).where(
            RecallEntry.recall_id == recall
        )
    )
    return {key: Seen(*seen) for key, *seen in rows}


def found_entries(answer: Answer) -> dict[int, Seen]:
    """Return the entries of an answer by certificate key."""
    return {
        one.certificate: Seen(name, hash_of(one.text))
        for name, entries in answer.lists.items()
        for one in entries
    }


def differing(before: Mapping[int, Seen], after: Mapping[int, Seen]) -> set[int]:
    """Return the certificates of which the two say something else, but for what both clear.

    What one look clears and the other does not list is the same.
    """
    return {
        key
        for key in before.keys() | after.keys()
        if before.get(key) != after.get(key)
        and not (_cleared(before.get(key)) and _cleared(after.get(key)))
    }


def differences(
    session: Session,
    before: Mapping[int, Seen],
    after: Mapping[int, Seen],
    among: Collection[int] | None = None,
) -> Record:
    """Return what stands in one and not in the other, in another list, or with other numbers.

    With `among` of these certificates alone.
    """
    found: dict[str, list[Record]] = {kind: [] for kind in KINDS}
    keys = before.keys() | after.keys() if among is None else among
    other = {key for key in keys if before.get(key) != after.get(key)}
    columns = "certificate.id, certificate.number, certificate.revision"
    rows = rows_of(SessionReader(session), columns, "certificate", "id", list(other))
    for key, number, revision in rows:
        kind, said = _said(before.get(key), after.get(key))
        found[kind].append({"certificate": number, "revision": revision, **said})
    return {
        kind: {"count": len(some), "certificates": _in_order(some)} for kind, some in found.items()
    }


def any_difference(found: Mapping[str, Any]) -> bool:
    """Whether `differences` found anything."""
    return any(found[kind]["count"] for kind in KINDS)


def _cleared(seen: Seen | None) -> bool:
    return seen is None or seen.list_name == CLEARED


def _said(before: Seen | None, after: Seen | None) -> tuple[str, Record]:
    if after is None or before is None:
        kind, one = ("removed", before) if after is None else ("added", after)
        return kind, {"class": None if one is None else one.list_name}
    if before.list_name != after.list_name:
        moved = {"from": before.list_name, "to": after.list_name}
        return "moved", {"class": after.list_name, **moved}
    return "changed", {"class": after.list_name}


def _in_order(found: list[Record]) -> list[Record]:
    return sorted(found, key=lambda one: (one["certificate"], one["revision"]))[:MOST_NAMED]
