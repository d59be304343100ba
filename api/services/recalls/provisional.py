"""Certificates that a recall may newly reach, as long as nobody knows: they are under review.

While a stored recall waits to be compared with a fresh one, a certificate may have come within its
reach of which neither says anything yet. Such a one rests, or could rest (directly or through
others), on what the recall watches, and it or something that it rests on was written since. Some of
them will turn out to have nothing to do with the fault; none that has is let pass.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.recalls.staleness import marked
from api.services.recalls.upward import upward
from api.services.recalls.watched import holders_of, window_rests_on
from api.store.keyed import rows_of
from api.store.links import RoleSpan, Window
from api.store.reading import SessionReader
from api.store.record_touch import CERTIFICATE, METHOD, Written, touch_since, written_since
from api.store.record_watch import RecallWatch, RecallWatchWindow, RecallWatchWord
from api.store.records import item_keys
from api.store.tables import Recall


@dataclass(slots=True)
class _Ground:
    """What one certificate rests on, itself included: certificates and items; who watches them."""

    certificates: set[int]
    items: set[int]
    watched_by: set[int] = field(default_factory=set)


def newly_reached(session: Session, certificates: Collection[int]) -> dict[int, set[int]]:
    """Return those of the certificates that a waiting recall may newly reach, each with which."""
    waiting: dict[int, set[int]] = defaultdict(set)
    states = select(RecallWatch.checked_position, RecallWatch.recall_id).where(marked())
    for read_at, recall in session.execute(states):
        waiting[read_at].add(recall)
    if not waiting or not certificates:
        return {}
    grounds = _grounds(session, certificates)
    _watch(session, grounds.values(), set[int]().union(*waiting.values()))
    found: dict[int, set[int]] = defaultdict(set)
    for read_at, recalls in waiting.items():
        written = written_since(session, read_at)
        moved = holders_of(session, written.named)
        moved |= _windows_moved(session, recalls, read_at)
        for key, ground in grounds.items():
            if not ground.items.isdisjoint(moved):
                found[key] |= ground.watched_by & recalls or recalls
            elif _written(ground, written) and not ground.watched_by.isdisjoint(recalls):
                found[key] |= ground.watched_by & recalls
    return found


def _windows_moved(session: Session, recalls: Collection[int], read_at: int) -> set[int]:
    """Return the faulty items of recalls whose windows may have moved since a position."""
    touched = touch_since(session, read_at).items
    found: set[int] = set()
    for faults in session.scalars(select(Recall.faults).where(Recall.id.in_(list(recalls)))):
        if not touched.isdisjoint(window_rests_on(session, faults)):
            codes = {fault["item"] for fault in faults if "item" in fault}
            found |= item_keys(SessionReader(session), codes)
    return found


def _written(ground: _Ground, written: Written) -> bool:
    return written.everything or any(
        first <= key <= last for key in ground.certificates for first, last in written.ranges
    )


def _grounds(session: Session, certificates: Collection[int]) -> dict[int, _Ground]:
    found = upward(session, certificates)
    owned: dict[int, list[int]] = defaultdict(list)
    for key, (item, _) in found.certificates.items():
        owned[item].append(key)
    above: dict[int, set[int]] = defaultdict(set)
    items: dict[int, set[int]] = defaultdict(set)
    for use in found.uses:
        carriers = found.within(use.item)
        items[use.certificate] |= carriers
        above[use.certificate] |= {
            key
            for item in carriers
            for key in owned[item]
            if found.certificates[key][1] <= use.until_us
        }
        named = {key for key in (use.source, use.evidence) if key is not None}
        above[use.certificate] |= named
    grounds = {}
    for key in certificates:
        rests_on = _closed(key, above)
        own = {found.certificates[one][0] for one in rests_on}
        grounds[key] = _Ground(rests_on, own.union(*(items[one] for one in rests_on)))
    return grounds


def _watch(session: Session, grounds: Collection[_Ground], waiting: Collection[int]) -> None:
    """Say of each ground which waiting recalls watch it: an item, a number, a method, a time."""
    reader = SessionReader(session)
    everyone = list(set[int]().union(*(ground.certificates for ground in grounds)))
    of_items, of_certificates = defaultdict[int, set[int]](set), defaultdict[int, set[int]](set)
    items = list(set[int]().union(*(ground.items for ground in grounds)))
    columns = "recall_watch_item.item_id, recall_watch_item.recall_id"
    for item, recall in rows_of(reader, columns, "recall_watch_item", "item_id", items):
        of_items[item].add(recall)
    words: dict[tuple[str, str | None], set[int]] = defaultdict(set)
    for word in session.scalars(
        select(RecallWatchWord).where(RecallWatchWord.recall_id.in_(list(waiting)))
    ):
        words[word.kind, word.word].add(word.recall_id)
    windows = session.scalars(
        select(RecallWatchWindow).where(RecallWatchWindow.recall_id.in_(list(waiting)))
    ).all()
    names = ("id", "number", "method", "external", "roles")
    columns = ", ".join(
        f"certificate.{one}" for one in (*names, "performed_us", "performed_end_us")
    )
    for key, number, method, external, *span in rows_of(
        reader, columns, "certificate", "id", everyone
    ):
        of_certificates[key] = {*words[CERTIFICATE, number], *words[METHOD, method]}
        of_certificates[key].update(
            one.recall_id
            for one in windows
            if not external
            and Window(one.first_us, one.last_us, tuple(one.roles)).holds(RoleSpan(*span))
        )
    for ground in grounds:
        ground.watched_by.update(*(of_items[item] for item in ground.items))
        ground.watched_by.update(*(of_certificates[key] for key in ground.certificates))


def _closed(key: int, above: dict[int, set[int]]) -> set[int]:
    found, frontier = {key}, {key}
    while frontier:
        frontier = {one for source in frontier for one in above.get(source, ())} - found
        found |= frontier
    return found
