"""What the answer of a recall depends on, so that a write finds the recalls that it may change.

Items: the faulty ones; those of every certificate that the answer lists, cleared ones too;
assemblies that ever held one of these, and every part that any of those ever held, since an
assembly may carry what its parts do; and for the checks of the faulty items what they were made
against, with all that this rests on. Windows: who names nothing in the roles of the faulty item.
Words: the numbers and methods that faults name (``api.store.record_changes`` says why this
suffices). Items that cannot matter any more may be among them: that costs work and misses nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.recalls.not_excluded import DEFAULT_ROLES, ROLES_OF_KIND
from api.store import links, records
from api.store.keyed import rows_of
from api.store.reading import Reader, SessionReader
from api.store.record_touch import CERTIFICATE, METHOD, Watched, Window
from graph.moments import instant_us, time_zone


def watched(
    session: Session, faults: Sequence[Record], head: Record, listed: Collection[int]
) -> Watched:
    """Return what a recall watches: of these faults, with this head, listing these certificates.

    `listed` are keys of certificates in any list, of the stored answer or a fresh one.
    """
    reader = SessionReader(session)
    codes = {fault["item"] for fault in faults if "item" in fault}
    faulty = records.item_keys(reader, codes)
    words = {(METHOD, fault["method"]) for fault in faults if "method" in fault}
    numbers = {fault["certificate"] for fault in faults if "certificate" in fault}
    words |= {(CERTIFICATE, number) for number in numbers}
    items = faulty | _items_of(reader, "number", numbers) | _items_of(reader, "id", listed)
    items |= _followed(reader, items, "part_id", "assembly_id")
    items |= _followed(reader, items, "assembly_id", "part_id")
    items |= _checked_against(reader, faulty)
    return Watched(frozenset(items), frozenset(_windows(reader, faults, head)), frozenset(words))


def holders_of(session: Session, items: Collection[int]) -> set[int]:
    """Return the assemblies that ever held one of these items, directly or within another."""
    return _followed(SessionReader(session), items, "part_id", "assembly_id")


def held_by(session: Session, items: Collection[int]) -> set[int]:
    """Return the parts that any of these items ever held, directly or within another part."""
    return _followed(SessionReader(session), items, "assembly_id", "part_id")


def _items_of(
    reader: Reader, key: str, certificates: Collection[int] | Collection[str]
) -> set[int]:
    rows = rows_of(reader, "DISTINCT certificate.item_id", "certificate", key, certificates)
    return {item for (item,) in rows}


def _followed(reader: Reader, items: Collection[int], start: str, end: str) -> set[int]:
    """Items reached from these along holdings of any time, from one end of each to the other."""
    found, frontier = set[int](), set(items)
    while frontier:
        rows = rows_of(reader, f"DISTINCT composition.{end}", "composition", start, list(frontier))
        frontier = {item for (item,) in rows} - found
        found |= frontier
    return found


def _checked_against(reader: Reader, faulty: Collection[int]) -> set[int]:
    """References of the checks of the faulty items, and all that these rest on."""
    table = "intermediate_check"
    rows = rows_of(reader, f"DISTINCT {table}.against_id", table, "item_id", list(faulty))
    found, frontier = set[int](), {item for (item,) in rows if item is not None}
    while frontier:
        found |= frontier
        also = "JOIN usage ON usage.certificate_id = certificate.id"
        used = rows_of(
            reader, "DISTINCT usage.item_id", "certificate", "item_id", list(frontier), also
        )
        below = {item for (item,) in used} | _followed(reader, frontier, "assembly_id", "part_id")
        frontier = below - found
    return found


def _windows(reader: Reader, faults: Sequence[Record], head: Record) -> Iterable[Window]:
    zone = time_zone(records.time_zone(reader) or "UTC")
    # None where the faults could not be worked out.
    windows = [head["window"]] if "window" in head else head.get("windows", [])
    for fault, window in zip(faults, windows, strict=False):
        item = records.item(reader, fault["item"]) if "item" in fault else None
        if item is None:
            continue
        holders = _followed(reader, {item.id}, "part_id", "assembly_id")
        roles = links.roles_of(reader, [item.id, *holders])
        ends = [window[end] for end in ("start", "end")]
        first, last = (None if end is None else instant_us(end, zone) for end in ends)
        concerned = roles or ROLES_OF_KIND.get(item.kind, DEFAULT_ROLES)
        yield Window(first, last, tuple(sorted(concerned)))
