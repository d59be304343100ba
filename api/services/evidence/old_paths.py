"""Links of recalls that were stored before links were kept: guessed from the names on their paths.

Nothing else reads names: this is how evidence was made then, kept for those recalls alone. A path
names certificates by number. Where several revisions or issuers share one, the one that calibrated
the item named next is taken, recalled ones before the rest, then the highest revision: which may be
the wrong one. Role and weight come from the records as they are now.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.store import records
from api.store.chunks import chunks
from api.store.reading import SessionReader
from api.store.tables import Certificate, Recall, RecallEntry
from graph.affected import REACHED
from graph.links import METHOD, METHOD_PREFIX, is_channel

Names = Sequence[str]


def links_from_names(
    session: Session, recall: Recall, certificates: Collection[int]
) -> dict[int, list[Record]]:
    """Return what leads to certificates of a stored recall, by key, as their paths tell it."""
    paths = dict(_paths(session, recall.id, certificates))
    names = {name for some in paths.values() for path in some for name in path}
    items_of: dict[str, set[str]] = {}
    carriers: dict[tuple[str, str], int] = {}
    for row in _listed(session, recall.id, names):
        items_of.setdefault(row.number, set()).add(row.item)
        carriers.setdefault((row.number, row.item), row.id)
    uses = _uses(session, certificates)
    return {
        key: _links(some, recall.faults, items_of, carriers, uses.get(key, ()))
        for key, some in paths.items()
    }


def _links(
    paths: Iterable[Names],
    faults: Sequence[Mapping[str, Any]],
    items_of: Mapping[str, Collection[str]],
    carriers: Mapping[tuple[str, str], int],
    uses: Sequence[Record],
) -> list[Record]:
    """The last stretch of each path, once for each recorded use that it may have been."""
    found: dict[tuple[Any, ...], Record] = {}
    for path in paths:
        last = last_stretch(path, faults, items_of)
        if last is None:
            continue
        fault, number, names = last
        cause = None if number is None else carriers[number, names[0]]
        facts = _recorded(names, uses, faults[fault] if cause is None else {})
        for place, told in facts or ((None, {}),):
            link = {"fault": fault, "cause": cause, "names": names, "use": place, **told}
            found.setdefault((fault, cause, names, place), link)
    return list(found.values())


def _recorded(
    names: tuple[str, ...], uses: Sequence[Record], fault: Mapping[str, Any]
) -> list[tuple[int | None, Record]]:
    """Uses of the item that a stretch ends with, in its role where a channel was faulty."""
    if "method" in fault:
        return [(None, Record(role=METHOD))]
    by_channel = is_channel(names, fault)
    item = fault["item"] if by_channel else names[-1]
    found: list[tuple[int | None, Record]] = [
        (place, one) for place, one in enumerate(uses) if one["item"] == item
    ]
    if by_channel and len(names) > 1:
        in_role = [(place, one) for place, one in found if one["role"] == names[1]]
        found = in_role or [(None, {"role": names[1]})]
    return [(place, {n: v for n, v in one.items() if n != "item"}) for place, one in found]


def last_stretch(
    path: Names, faults: Sequence[Mapping[str, Any]], items_of: Mapping[str, Collection[str]]
) -> tuple[int, str | None, tuple[str, ...]] | None:
    """Return the fault of a path, the number of the last certificate but one, and what is between.

    `items_of` has for the numbers of the listed certificates the items that they calibrated. None
    where no fault begins the path so; without another certificate the number is None.
    """
    for place, fault in enumerate(faults):
        for before in _beginnings(path, fault):
            steps = _steps(path[before:], items_of)
            if steps is None:
                continue
            if len(steps) == 1:
                return place, None, tuple(path[:before])
            number, names = steps[-2]
            return place, number, names
    return None


def _beginnings(path: Names, fault: Mapping[str, Any]) -> Iterator[int]:
    """How many names may stand before the first certificate of a path, were it of this fault."""
    start = path[0]
    if "method" in fault:
        if start == METHOD_PREFIX + fault["method"]:
            yield 1
    elif "certificate" in fault:
        if start == fault["certificate"]:
            yield from range(2, len(path))
    else:
        if is_channel(path, fault):
            yield 2 if len(path) > 2 else 1
        if start == fault["item"]:
            yield from range(1, len(path))


def _steps(
    rest: Names, items_of: Mapping[str, Collection[str]]
) -> list[tuple[str, tuple[str, ...]]] | None:
    """Each certificate with the item used next and what held it, if that is what the names are."""
    if len(rest) == 1:
        return [(rest[0], ())]
    if len(rest) < 3 or rest[1] not in items_of.get(rest[0], ()):
        return None
    for after in range(2, len(rest)):
        onward = _steps(rest[after:], items_of)
        if onward is not None:
            return [(rest[0], tuple(rest[1:after])), *onward]
    return None


def _paths(
    session: Session, recall_id: int, certificates: Collection[int]
) -> Iterator[tuple[int, list[Names]]]:
    columns = select(RecallEntry.certificate_id, RecallEntry.body)
    for some in chunks(sorted(certificates)):
        rows = columns.where(
            RecallEntry.recall_id == recall_id,
            RecallEntry.certificate_id.in_(some),
            RecallEntry.list_name.in_(REACHED),
        )
        for row in session.execute(rows):
            yield row.certificate_id, orjson.loads(row.body).get("reason_paths", [])


def _listed(session: Session, recall_id: int, names: Collection[str]) -> list[Any]:
    """The certificates of a recall under these numbers, the one that is meant first."""
    found: list[Any] = []
    certificate = Certificate.id, Certificate.number, Certificate.revision
    for some in chunks(sorted(names)):
        statement = (
            select(*certificate, RecallEntry.item, RecallEntry.list_name)
            .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
            .where(
                RecallEntry.recall_id == recall_id,
                RecallEntry.list_name.in_(REACHED),
                Certificate.number.in_(some),
            )
        )
        found.extend(session.execute(statement))
    return sorted(found, key=lambda row: (REACHED.index(row.list_name), -row.revision, row.id))


def _uses(session: Session, certificates: Collection[int]) -> dict[int, list[Record]]:
    """Item, role and weight of every recorded use of these certificates, in their order."""
    reader = SessionReader(session)
    rows = sorted(records.uses(reader, certificates), key=lambda row: row.position)
    items = records.item_codes(reader, {row.item_id for row in rows})
    found: dict[int, list[Record]] = {}
    for row in rows:
        told = {"item": items[row.item_id], "role": row.role}
        if row.weight is not None:
            told["weight"] = orjson.loads(row.weight)
        found.setdefault(row.certificate_id, []).append(told)
    return found
