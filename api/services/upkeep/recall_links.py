"""Whether what was stored beside the entries of a recall, by key, still leads to them.

No hash covers the links, and no key of the database does: they are JSON text. Each is held against
what is stored: its certificate and its items exist, the certificate calibrated the item that was
used next, and every path of an entry, which its hash covers, ends with one of its links.

Not checked: the use that a link names, which a correction may have moved since; and of what is
given back itself more than where its path begins: it tells how the fault had come then.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.recalls.entries import is_given_back
from api.store.chunks import chunks
from api.store.tables import Certificate, Item, Recall, RecallEntry
from graph.links import METHOD_PREFIX, is_channel

Found = tuple[str, str]
LOT = 500


class _Cause(NamedTuple):
    number: str
    item: str


class Looked(NamedTuple):
    """How many links were looked at, and what was found: (subject, detail)."""

    links: int
    found: list[Found]


def astray(session: Session, recall: Recall) -> Looked:
    """Look at all links of one stored recall; those from before links were kept have none."""
    kept = select(RecallEntry.certificate_id).where(
        RecallEntry.recall_id == recall.id, RecallEntry.links.is_not(None)
    )
    if session.execute(kept.limit(1)).first() is None:
        return Looked(0, [])
    looking = _Looking(session, recall)
    rows = (
        select(Certificate.number, RecallEntry.body, RecallEntry.links)
        .join(Certificate, Certificate.id == RecallEntry.certificate_id)
        .where(RecallEntry.recall_id == recall.id)
        .order_by(RecallEntry.certificate_id)
        .execution_options(yield_per=LOT)
    )
    for lot in session.execute(rows).partitions():
        looking.look(lot)
    return Looked(looking.links, looking.found)


class _Looking:
    """The look at one recall; what it read of certificates and items is kept."""

    def __init__(self, session: Session, recall: Recall) -> None:
        self.session, self.recall = session, recall
        self.links, self.found = 0, list[Found]()
        self._causes: dict[int, _Cause | None] = {}
        self._items: dict[str, bool] = {}

    def look(self, rows: Sequence[Any]) -> None:
        """Look at some entries."""
        lot: list[tuple[str, list[Sequence[str]], list[Any], bool]] = []
        for number, body, text in rows:
            try:
                entry = orjson.loads(body)
                given_back = is_given_back(entry)
                lot.append((number, entry.get("reason_paths", []), _links(text), given_back))
            except (ValueError, KeyError, TypeError):
                self._say(number, "what leads to it cannot be read")
        links = [link for _, _, some, _ in lot for link in some]
        self.links += len(links)
        self._learn({link["cause"] for link in links} - {None})
        self._learn_items({name for link in links for name in self._names(link)})
        for number, paths, some, given_back in lot:
            for link in some:
                for detail in self._wrong(link):
                    self._say(number, detail)
            begun = {link["names"][0] for link in some if given_back and link["cause"] is None}
            lost = sum(
                path[0] not in begun and not any(self._ends(path, link) for link in some)
                for path in paths
            )
            if lost:
                self._say(number, f"of {lost} of its paths no stored link is the last stretch")

    def _say(self, number: str, detail: str) -> None:
        self.found.append((f"{self.recall.number} {number}", detail))

    def _wrong(self, link: Mapping[str, Any]) -> Iterator[str]:
        cause, names = link["cause"], link["names"]
        if not 0 <= link["fault"] < len(self.recall.faults):
            yield f"it is reached by fault {link['fault']}, which the recall does not have"
            return
        if cause is not None:
            known = self._causes[cause]
            if known is None:
                yield f"it rests on a certificate of key {cause}, which does not exist"
            elif known.item != names[0]:
                yield f"it rests on {known.number} of {known.item} by way of {names[0]}"
        for name in self._names(link):
            if not self._items[name]:
                yield f"it is reached by way of {name}, which is no item"

    def _names(self, link: Mapping[str, Any]) -> Sequence[str]:
        """The names of a link that are those of items."""
        names: Sequence[str] = link["names"]
        if link["cause"] is not None or not 0 <= link["fault"] < len(self.recall.faults):
            return names if link["cause"] is not None else ()
        fault = self.recall.faults[link["fault"]]
        if "certificate" in fault or names[0].startswith(METHOD_PREFIX):
            return names[1:]
        return () if is_channel(names, fault) else names

    def _ends(self, path: Sequence[str], link: Mapping[str, Any]) -> bool:
        """Whether a path ends with a link, and begins with it where that is one from the fault."""
        names, before = list(link["names"]), list(path[:-1])
        rest = before[: len(before) - len(names)]
        if before[len(rest) :] != names:
            return False
        if link["cause"] is None:
            return not rest
        known = self._causes[link["cause"]]
        return known is not None and bool(rest) and rest[-1] == known.number

    def _learn(self, keys: Collection[int]) -> None:
        """Read the certificates of these keys, with the item that the recall found they had."""
        new = sorted(key for key in keys if key not in self._causes)
        self._causes |= dict.fromkeys(new)
        for some in chunks(new, LOT):
            now = select(Certificate.id, Certificate.number, Item.code).join(
                Item, Item.id == Certificate.item_id
            )
            then = (
                select(Certificate.id, Certificate.number, RecallEntry.item)
                .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
                .where(RecallEntry.recall_id == self.recall.id)
            )
            for statement in (now, then):
                for key, *facts in self.session.execute(statement.where(Certificate.id.in_(some))):
                    self._causes[key] = _Cause(*facts)

    def _learn_items(self, names: Collection[str]) -> None:
        new = sorted(name for name in names if name not in self._items)
        self._items |= dict.fromkeys(new, False)
        for some in chunks(new, LOT):
            known = self.session.scalars(select(Item.code).where(Item.code.in_(some)))
            self._items |= dict.fromkeys(known, True)


def _links(text: str | None) -> list[Any]:
    """Read stored links; raises ValueError, KeyError or TypeError where they are none."""
    links: list[Any] = [] if text is None else orjson.loads(text)
    for link in links:
        if not isinstance(link["fault"], int) or not link["names"]:
            raise ValueError(link)
        if not isinstance(link["cause"], int | None):
            raise TypeError(link)
    return links
