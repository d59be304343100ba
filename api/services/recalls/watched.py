"""What the answer of a recall depends on, so that a write finds the recalls that it may change.

Items: the faulty ones; those of every certificate that the answer lists, cleared ones too;
assemblies that ever held one of these, and every part that any of those ever held, since an
assembly may carry what its parts do; and for the checks of the faulty items what they were made
against, with all that this rests on. Windows: who names nothing in a role concerned.
Words: the numbers and methods that faults name (``api.store.record_changes`` says why this
suffices). Items that cannot matter any more may be among them, by withdrawn holdings too: that
costs work and misses nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.store import records
from api.store.assemblies import held, holders
from api.store.keyed import rows_of
from api.store.links import Window
from api.store.reading import Reader, SessionReader
from api.store.record_touch import CERTIFICATE, METHOD, Watched


def watched(
    session: Session, faults: Sequence[Record], sought: Collection[Window], listed: Collection[int]
) -> Watched:
    """Return what a recall of these faults watches.

    `sought` are the times in which it asked who names nothing in a role, `listed` the keys of the
    certificates in any of its lists.
    """
    reader = SessionReader(session)
    codes = {fault["item"] for fault in faults if "item" in fault}
    faulty = records.item_keys(reader, codes)
    words = {(METHOD, fault["method"]) for fault in faults if "method" in fault}
    numbers = {fault["certificate"] for fault in faults if "certificate" in fault}
    words |= {(CERTIFICATE, number) for number in numbers}
    items = faulty | _items_of(reader, "number", numbers) | _items_of(reader, "id", listed)
    items = held(reader, holders(reader, items, withdrawn=True), withdrawn=True)
    items |= _checked_against(reader, faulty)
    return Watched(frozenset(items), frozenset(sought), frozenset(words))


def window_rests_on(session: Session, faults: Sequence[Record]) -> set[int]:
    """Return the items by which the windows of faults may move; empty where nothing was checked.

    Those are what the checks of the faulty items were made against, with all that this rests on,
    and the faulty items with what ever held them, since a check covers the range of their uses.
    """
    reader = SessionReader(session)
    faulty = records.item_keys(reader, {fault["item"] for fault in faults if "item" in fault})
    table = "intermediate_check"
    if next(rows_of(reader, f"{table}.id", table, "item_id", list(faulty), "LIMIT 1"), None):
        return holders(reader, faulty, withdrawn=True) | _checked_against(reader, faulty)
    return set()


def holders_of(session: Session, items: Collection[int]) -> set[int]:
    """Return these items and the assemblies that ever held one, directly or within another."""
    return holders(SessionReader(session), items, withdrawn=True)


def _items_of(
    reader: Reader, key: str, certificates: Collection[int] | Collection[str]
) -> set[int]:
    rows = rows_of(reader, "DISTINCT certificate.item_id", "certificate", key, certificates)
    return {item for (item,) in rows}


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
        below = {item for (item,) in used} | held(reader, frontier, withdrawn=True)
        frontier = below - found
    return found
