"""What was written behind a position, and which recalls it may concern.

Why items suffice: whatever a recall newly lists hangs on a path from the faulty item, an assembly
that ever held it, or a certificate listed already. The first certificate of that path that is new
to the recall either was written itself and used an item of the path above it, or took its value
from elsewhere before, so that a certificate of such an item, or a holding of it, was written. Those
who name nothing in a role are found by time, those that a fault names by their number or method.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from api.store.keyed import rows_of
from api.store.links import RoleSpan, Window
from api.store.reading import SessionReader

CERTIFICATE, METHOD = "certificate", "method"
LAST = 2**63 - 1
MOST_LOOKED_AT = 100
Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Watched:
    """What the answer of one recall depends on; `words` are (kind, number or method)."""

    items: frozenset[int] = frozenset()
    windows: frozenset[Window] = frozenset()
    words: frozenset[tuple[str, str]] = frozenset()


@dataclass(frozen=True, slots=True)
class Written:
    """Which writes there were behind a position: the last, ranges of certificates, items named."""

    position: int
    everything: bool = False
    ranges: tuple[Range, ...] = ()
    named: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Touch(Written):
    """What these writes touched: items, named or found through certificates, and role spans."""

    items: frozenset[int] = frozenset()
    spans: tuple[RoleSpan, ...] = ()


def written_since(session: Session, after: int, until: int = LAST) -> Written:
    """Return the writes behind a position (up to another), as far as this session sees them."""
    reader = SessionReader(session)
    last, everything, ranges = after, False, list[Range]()
    statement = (
        "SELECT id, first_certificate, last_certificate, everything FROM record_change "
        "WHERE id > ? AND id <= ? ORDER BY id"
    )
    for key, first_key, last_key, whole in reader.rows(statement, [after, until]):
        last = key
        everything = everything or bool(whole)
        if first_key is not None:
            _join(ranges, first_key, last_key)
    if last == after:
        return Written(after)
    statement = (
        "SELECT DISTINCT item_id FROM record_change_item WHERE change_id > ? AND change_id <= ?"
    )
    named = frozenset(item for (item,) in reader.rows(statement, [after, until]))
    return Written(last, everything, tuple(ranges), named)


def touch_since(session: Session, after: int, until: int = LAST) -> Touch:
    """Return what was touched behind a position (up to another), as this session sees it."""
    found, reader = written_since(session, after, until), SessionReader(session)
    items, spans = set(found.named), list[RoleSpan]()
    for bounds in found.ranges:
        items.update(_items(reader, bounds))
        spans.extend(_spans(reader, bounds))
    rest = found.position, found.everything, found.ranges, found.named
    return Touch(*rest, frozenset(items), tuple(spans))


def concerns(session: Session, touch: Touch, watched: Watched) -> bool:
    """Whether what was written may change the answer of a recall that watches this."""
    if touch.everything or not watched.items.isdisjoint(touch.items):
        return True
    if any(window.holds(span) for window in watched.windows for span in touch.spans):
        return True
    return bool(_words(SessionReader(session), touch.ranges, watched.words))


def first_concern(session: Session, after: int, watched: Watched) -> int | None:
    """Return the first write behind a position that may change such a recall.

    Of very many writes only the first ones are looked at; then the first of all is named.
    """
    some = "SELECT id FROM record_change WHERE id > ? ORDER BY id LIMIT ?"
    keys: list[int] = [k for (k,) in SessionReader(session).rows(some, [after, MOST_LOOKED_AT])]
    for key in keys:
        if concerns(session, touch_since(session, key - 1, key), watched):
            return key
    return keys[0] if len(keys) == MOST_LOOKED_AT else None


def watching(session: Session, touch: Touch, unmarked: bool = False) -> set[int]:
    """Return the stored recalls whose answer may have changed, by what each watches."""
    reader = SessionReader(session)
    mark = " AND recall_watch.marked_position IS NULL" if unmarked else ""
    if touch.everything:
        every = f"SELECT recall_id FROM recall_watch WHERE 1 = 1{mark}"
        return {key for (key,) in reader.rows(every)}
    joined = f"JOIN recall_watch ON recall_watch.recall_id = {{}}.recall_id{mark}"
    table = "recall_watch_item"
    columns = f"DISTINCT {table}.recall_id"
    also = joined.format(table)
    found = {key for (key,) in rows_of(reader, columns, table, "item_id", list(touch.items), also)}
    found.update(_by_window(reader, touch.spans, joined.format("recall_watch_window")))
    if touch.ranges:
        found.update(_by_word(reader, touch.ranges, joined.format("recall_watch_word")))
    return found


def _join(ranges: list[Range], first: int, last: int) -> None:
    """Add a range; one that goes on where the last one ended is joined to it."""
    if ranges and ranges[-1][0] <= first <= ranges[-1][1] + 1:
        ranges[-1] = ranges[-1][0], max(ranges[-1][1], last)
    else:
        ranges.append((first, last))


def _items(reader: SessionReader, bounds: Range) -> Iterator[int]:
    """Items of certificates, and items that these used."""
    statement = (
        "SELECT item_id FROM certificate WHERE id BETWEEN ? AND ? "
        "UNION SELECT item_id FROM usage WHERE certificate_id BETWEEN ? AND ?"
    )
    for (item,) in reader.rows(statement, [*bounds, *bounds]):
        yield item


def _spans(reader: SessionReader, bounds: Range) -> Iterator[RoleSpan]:
    statement = (
        "SELECT roles, min(performed_us), max(performed_end_us) FROM certificate "
        "WHERE id BETWEEN ? AND ? AND NOT external GROUP BY roles"
    )
    yield from map(RoleSpan._make, reader.rows(statement, bounds))


def _by_window(reader: SessionReader, spans: Sequence[RoleSpan], also: str) -> Iterator[int]:
    if not spans:
        return
    statement = (
        "SELECT recall_watch_window.recall_id, first_us, last_us, roles "
        f"FROM recall_watch_window {also} "
        "WHERE (first_us IS NULL OR first_us <= ?) AND (last_us IS NULL OR last_us >= ?)"
    )
    bounds = [max(one.last_us for one in spans), min(one.first_us for one in spans)]
    for key, first, last, roles in reader.rows(statement, bounds):
        window = Window(first, last, tuple(json.loads(roles)))
        if any(window.holds(span) for span in spans):
            yield key


def _by_word(reader: SessionReader, ranges: Sequence[Range], also: str) -> Iterator[int]:
    columns = "recall_watch_word.recall_id, recall_watch_word.kind, recall_watch_word.word"
    rows = list(reader.rows(f"SELECT {columns} FROM recall_watch_word {also}"))
    named = _words(reader, ranges, {(kind, word) for _, kind, word in rows})
    for key, kind, word in rows:
        if (kind, word) in named:
            yield key


def _words(
    reader: SessionReader, ranges: Sequence[Range], words: Collection[tuple[str, str]]
) -> set[tuple[str, str]]:
    """Those of the words that certificates of these ranges bear."""
    found: set[tuple[str, str]] = set()
    numbers = [word for kind, word in words if kind == CERTIFICATE]
    methods = {word for kind, word in words if kind == METHOD}
    for bounds in ranges:
        also = "WHERE certificate.id BETWEEN ? AND ?"
        rows = rows_of(reader, "certificate.number", "certificate", "number", numbers, also, bounds)
        found.update((CERTIFICATE, number) for (number,) in rows)
        if methods:
            # By key: a method may have very many certificates from before.
            statement = "SELECT DISTINCT method FROM certificate WHERE id BETWEEN ? AND ?"
            borne = {method for (method,) in reader.rows(statement, bounds)}
            found.update((METHOD, method) for method in methods & borne)
    return found
