"""What a second look at a fault changes: certificates added, gone, in another list, or moved."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.recalls.run import Answer
from api.store.tables import RecallEntry

# Names are for people; the counts beside them are complete.
MOST_NAMED = 1_000


class Seen(NamedTuple):
    """One entry of a recall: its list and its JSON text."""

    list_name: str
    text: str


def stored_entries(session: Session, recall: int) -> dict[int, Seen]:
    """Return the entries of a stored recall by certificate key."""
    rows = session.execute(
        select(RecallEntry.certificate_id, RecallEntry.list_name, RecallEntry.body).where(
            RecallEntry.recall_id == recall
        )
    )
    return {key: Seen(list_name, body) for key, list_name, body in rows}


def found_entries(answer: Answer) -> dict[int, Seen]:
    """Return the entries of an answer by certificate key."""
    return {
        one.certificate: Seen(name, one.text)
        for name, entries in answer.lists.items()
        for one in entries
    }


def differences(before: Mapping[int, Seen], after: Mapping[int, Seen]) -> Record:
    """Return what stands in one and not in the other, in another list, or with other numbers."""
    added = [_named(after[key]) for key in after.keys() - before.keys()]
    removed = [_named(before[key]) for key in before.keys() - after.keys()]
    both = before.keys() & after.keys()
    moved = [
        _named(after[key]) | {"from": before[key].list_name, "to": after[key].list_name}
        for key in both
        if before[key].list_name != after[key].list_name
    ]
    changed = [
        _named(after[key])
        for key in both
        if before[key].list_name == after[key].list_name and before[key].text != after[key].text
    ]
    return {
        name: {"count": len(found), "certificates": _in_order(found)}
        for name, found in (
            ("added", added),
            ("removed", removed),
            ("moved", moved),
            ("changed", changed),
        )
    }


def any_difference(found: Mapping[str, Any]) -> bool:
    """Whether `differences` found anything."""
    return any(part["count"] for part in found.values())


def _named(seen: Seen) -> Record:
    made = orjson.loads(seen.text)
    return {
        "certificate": made["certificate"],
        "revision": made["revision"],
        "class": seen.list_name,
    }


def _in_order(found: Iterable[Record]) -> list[Record]:
    return sorted(found, key=lambda one: (one["certificate"], one["revision"]))[:MOST_NAMED]
