"""Certificates that a recall may newly reach, as long as nobody knows: they are under review.

While a stored recall waits to be compared with a fresh one, a certificate may have come within its
reach of which neither says anything yet. Such a one rests (directly or through others) on an item
that the recall watches, and it or something that it rests on was written since. Some of them will
turn out to have nothing to do with the fault; none that has is let pass.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.recalls.staleness import marked
from api.services.recalls.watched import holders_of
from api.store.keyed import rows_of
from api.store.link_checks import everything_upward
from api.store.reading import SessionReader
from api.store.record_touch import CERTIFICATE, METHOD, Written, written_since
from api.store.record_watch import RecallWatch, RecallWatchWord

Watchable = int | tuple[str, str]


@dataclass(slots=True)
class _Ground:
    """What one certificate rests on, itself included: certificates, items, and their words."""

    certificates: set[int] = field(default_factory=set)
    items: set[int] = field(default_factory=set)
    words: set[tuple[str, str]] = field(default_factory=set)

    @property
    def watchable(self) -> set[Watchable]:
        """Items and words by which a recall may watch it."""
        return {*self.items, *self.words}


def newly_reached(session: Session, certificates: Collection[int]) -> set[int]:
    """Return those of the certificates that a waiting recall may newly reach."""
    waiting: dict[int, set[int]] = defaultdict(set)
    states = select(RecallWatch.checked_position, RecallWatch.recall_id).where(marked())
    for read_at, recall in session.execute(states):
        waiting[read_at].add(recall)
    if not waiting or not certificates:
        return set()
    grounds = _grounds(session, certificates)
    watchers = _watchers(session, grounds.values())
    found: set[int] = set()
    for read_at, recalls in waiting.items():
        written = written_since(session, read_at)
        moved = written.named | holders_of(session, written.named)
        found.update(
            key
            for key, ground in grounds.items()
            if _changed(ground, written, moved)
            and (
                not ground.items.isdisjoint(moved)
                or any(not recalls.isdisjoint(watchers[one]) for one in ground.watchable)
            )
        )
    return found


def _changed(ground: _Ground, written: Written, moved: Collection[int]) -> bool:
    return (
        written.everything
        or not ground.items.isdisjoint(moved)
        or any(
            first <= key <= last for key in ground.certificates for first, last in written.ranges
        )
    )


def _watchers(session: Session, grounds: Iterable[_Ground]) -> dict[Watchable, set[int]]:
    """Return which waiting recalls watch an item, or a word, that somebody rests on."""
    reader, found = SessionReader(session), defaultdict[Watchable, set[int]](set)
    items = set[int]().union(*(ground.items for ground in grounds))
    columns = "recall_watch_item.item_id, recall_watch_item.recall_id"
    for item, recall in rows_of(reader, columns, "recall_watch_item", "item_id", list(items)):
        found[item].add(recall)
    for word in session.scalars(select(RecallWatchWord)):
        found[word.kind, word.word].add(word.recall_id)
    return found


def _grounds(session: Session, certificates: Collection[int]) -> dict[int, _Ground]:
    above: dict[int, set[int]] = defaultdict(set)
    for certificate, source in everything_upward(session, certificates):
        above[certificate].add(source)
    grounds = {key: _Ground(_closed(key, above)) for key in certificates}
    everyone = list(set().union(*(ground.certificates for ground in grounds.values())))
    reader = SessionReader(session)
    items: dict[int, set[int]] = defaultdict(set)
    words: dict[int, set[tuple[str, str]]] = defaultdict(set)
    columns = "certificate.id, certificate.item_id, certificate.number, certificate.method"
    for key, item, number, method in rows_of(reader, columns, "certificate", "id", everyone):
        items[key].add(item)
        words[key].add((CERTIFICATE, number))
        if method is not None:
            words[key].add((METHOD, method))
    columns = "usage.certificate_id, usage.item_id"
    for key, item in rows_of(reader, columns, "usage", "certificate_id", everyone):
        items[key].add(item)
    for ground in grounds.values():
        for key in ground.certificates:
            ground.items |= items[key]
            ground.words |= words[key]
    return grounds


def _closed(key: int, above: dict[int, set[int]]) -> set[int]:
    found, frontier = {key}, {key}
    while frontier:
        frontier = {one for source in frontier for one in above.get(source, ())} - found
        found |= frontier
    return found
