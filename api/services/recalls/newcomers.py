"""New certificates of items that nobody uses: the usual write, compared without a whole recall.

A customer's instrument is calibrated, and a recall that watches the standard waits for the answer.
Nobody rests on that instrument, it is part of nothing and no check names it, so that no entry but
its own could come of it; and whether there is one can be seen from what the new certificate rests
on. The engine is the same and asks its questions of those certificates alone (`Within`).

Whatever is otherwise takes a whole recall: a changed certificate, a holding, a check, an item that
somebody rests on, a use of what is faulty, windows that the few alone would not give.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import chain

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import TraceholdError
from api.services.base.record import Record
from api.services.recalls.differences import bounds_of
from api.services.recalls.giving_back import looks_of
from api.services.recalls.run import recall_from
from api.services.recalls.staleness import last_differences
from api.services.recalls.upward import Link, upward
from api.services.recalls.watched import holders_of
from api.store import links, records
from api.store.keyed import rows_of
from api.store.reading import SessionReader
from api.store.record_watch import RecallWatch, RecordChange, RecordChangeItem
from api.store.records import CertificateRow
from api.store.sources import Recorded
from api.store.tables import Recall
from graph.lists import CLEARED

MOST_NEW, MOST_READ = 200, 5_000


@dataclass(frozen=True, slots=True)
class WereIssued(Recorded):
    """The records of a database as if some drafts were issued."""

    drafts: frozenset[int]

    def certificates(self, keys: Collection[int]) -> Iterator[CertificateRow]:
        """Certificates by key."""
        for row in records.certificates(self.reader, keys):
            yield row._replace(status="issued") if row.id in self.drafts else row


@dataclass(frozen=True, slots=True)
class Within(WereIssued):
    """The records of a database as if only some certificates used, or lacked, anything."""

    keys: frozenset[int]
    uses_among: tuple[Link, ...]

    def users_of_items(self, items: Collection[int]) -> set[int]:
        """Of them, those that ever used one of these items."""
        return {use.certificate for use in self.uses_among if use.item in items}

    def users_of_certificate(self, certificate: int) -> set[int]:
        """Of them, those that took a value from this one."""
        return {use.certificate for use in self.uses_among if use.source == certificate}

    def certificates_by_method(self, method: str) -> set[int]:
        """Of them, those whose calibration recorded this method."""
        columns, table = "certificate.id, certificate.method", "certificate"
        rows = rows_of(self.reader, columns, table, "id", list(self.keys))
        return {key for key, recorded in rows if recorded == method}

    def roles_elsewhere(self, ways: Collection[links.Met], window: links.Span) -> set[str]:
        """Roles of such uses by all; none if nobody of them lies in the window."""
        return links.roles_met(self.reader, ways) if self.lacking_roles((), window) else set()

    def lacking_roles(self, roles: Collection[str], window: links.Span) -> list[int]:
        """Of them, our own of the window, of whose uses none has one of the roles."""
        marks = [links.role_mark(role) for role in roles]
        columns = ", ".join(
            f"certificate.{name}" for name in ("id", "roles", "performed_us", "performed_end_us")
        )
        also = "WHERE NOT certificate.external"
        first, last = window
        return [
            key
            for key, named, start_us, end_us in rows_of(
                self.reader, columns, "certificate", "id", list(self.keys), also
            )
            if (first is None or end_us >= first)
            and (last is None or start_us <= last)
            and not any(mark in named for mark in marks)
        ]

    def everything_downward(self, certificates: Iterable[int]) -> set[int]:
        """These, and those of them that could rest on them."""
        users: dict[int | None, set[int]] = defaultdict(set)
        shown: dict[int | None, set[int]] = defaultdict(set)
        for use in self.uses_among:
            users[use.source].add(use.certificate)
            shown[use.evidence].add(use.certificate)
        reached, ends = set(certificates), set[int]()
        frontier = set(reached)
        while frontier:
            ends.update(chain.from_iterable(shown[key] for key in frontier))
            frontier = set(chain.from_iterable(users[key] for key in frontier)) - reached
            reached |= frontier
        return reached | ends


def nothing_new(session: Session, state: RecallWatch, stored: Recall, now_us: int) -> bool:
    """Whether all that was written since a recall was compared certainly leaves it as it was.

    False means that it may have changed, and takes a whole recall to know.
    """
    new = _new(session, state.checked_position)
    if new is None or not _nobody_rests_on(session, new, stored.faults):
        return False
    if looks_of(session, stored, new).corrected:
        return False  # corrected by an earlier look, which took what this one may give back
    within = _grounds(session, new)
    if within is None:
        return False
    try:
        answer = recall_from(within, {"faults": stored.faults}, now_us)
    except TraceholdError:
        return False
    listed = {
        one.certificate for name, found in answer.lists.items() if name != CLEARED for one in found
    }
    head = orjson.loads(orjson.dumps(answer.head))
    return listed.isdisjoint(new) and bounds_of(head) == _known_bounds(session, stored)


def _new(session: Session, after: int) -> set[int] | None:
    """Certificates inserted behind a position; None if anything else was written, or very much."""
    found: set[int] = set()
    changes = select(RecordChange).where(RecordChange.id > after)
    for change in session.scalars(changes.limit(MOST_NEW + 1)):
        if change.first_certificate is None or change.last_certificate is None:
            return None
        if change.everything or not change.inserted:
            return None
        found.update(range(change.first_certificate, change.last_certificate + 1)[: MOST_NEW + 1])
        if len(found) > MOST_NEW:
            return None
    named = select(RecordChangeItem.item_id).where(RecordChangeItem.change_id > after).limit(1)
    return None if session.scalar(named) is not None else found


def _nobody_rests_on(session: Session, new: Collection[int], faults: Collection[Record]) -> bool:
    """Whether no record but their own names the items of new certificates, nor a fault these.

    A use of what is faulty may move its window, by the forces at which it was used.
    """
    reader, keys = SessionReader(session), list(new)
    numbers = {fault["certificate"] for fault in faults if "certificate" in fault}
    columns = "certificate.item_id, certificate.number"
    rows = list(rows_of(reader, columns, "certificate", "id", keys))
    if any(number in numbers for _, number in rows):
        return False
    items = list({item for item, _ in rows})
    named = (
        ("usage", "item_id"),
        ("composition", "part_id"),
        ("composition", "assembly_id"),
        ("intermediate_check", "item_id"),
        ("intermediate_check", "against_id"),
    )
    if any(
        next(rows_of(reader, f"{table}.id", table, column, items, "LIMIT 1"), None)
        for table, column in named
    ):
        return False
    codes = {fault["item"] for fault in faults if "item" in fault}
    faulty = holders_of(session, records.item_keys(reader, codes))
    used = rows_of(reader, "usage.item_id", "usage", "certificate_id", keys)
    return faulty.isdisjoint([*items, *(item for (item,) in used)])


def _grounds(session: Session, new: Collection[int]) -> Within | None:
    """New certificates with all that they could rest on; None if that is very much."""
    found = upward(session, new, MOST_READ)
    if len(found.certificates) > MOST_READ:
        return None
    reader, keys = SessionReader(session), frozenset(found.certificates)
    return Within(reader, frozenset(), keys, tuple(found.uses))


def _known_bounds(session: Session, stored: Recall) -> object:
    """Bounds of the last comparison: as stored, or as the last flag tells they would be."""
    known = last_differences(session, stored.id)
    if "impossible" in known:
        return None
    if "windows" in known:
        return bounds_of({"windows": known["windows"]["to"]})
    return bounds_of(orjson.loads(stored.head))
