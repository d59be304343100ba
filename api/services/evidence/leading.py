"""What leads to a certificate of a stored recall, by key, level by level up to the fault.

The body of an entry names certificates by number, which several revisions and issuers may share;
the links, kept beside it, say which was meant (`api.services.recalls.run.kept_links`). Recalls from
before links were kept have them guessed, in `api.services.evidence.old_paths` and nowhere else.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

import orjson
from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.evidence import old_paths
from api.store.chunks import chunks
from api.store.tables import Certificate, Recall, RecallEntry
from graph.affected import REACHED, found_part
from graph.traceability import Graph

LOT = 500


@dataclass(slots=True)
class Leading:
    """The links of some certificates of a stored recall, and of everything that leads to them.

    `entries` holds of each certificate what a path names (`certificate` and `item`), with revision,
    issuer, list, generation and whether a verdict changes; `links` what leads to it. Both are by
    key and grow as more is asked.
    """

    session: Session
    recall: Recall
    entries: dict[int, Record] = field(default_factory=dict)
    links: dict[int, list[Record]] = field(default_factory=dict)
    _leads: set[int] = field(default_factory=set)  # certificates that lead to others

    def learn(self, certificates: Collection[int], *, all_the_way: bool = True) -> None:
        """Read what leads to these certificates, directly or `all_the_way` from the fault."""
        frontier = set(certificates) - self.links.keys()
        while frontier:
            for some in chunks(sorted(frontier), LOT):
                self._read(some)
            causes = {cause for key in frontier for cause in self._causes(key)}
            self._leads |= causes
            if not all_the_way:
                self._read_heads(causes - self.entries.keys())
                return
            frontier = causes - self.links.keys()

    def part(self, certificates: Collection[int]) -> Graph:
        """Return the graph of these certificates and of all that leads to them, once learned."""
        within, frontier = set(certificates), set(certificates)
        while frontier:
            frontier = {cause for key in frontier for cause in self._causes(key)} - within
            within |= frontier
        entries = {key: self.entries[key] for key in sorted(within) if key in self.entries}
        return found_part(self.recall.faults, entries, self.links)

    def forget(self, certificates: Collection[int]) -> None:
        """Drop those to which no certificate read so far led, so that memory stays bounded."""
        for key in certificates:
            if key not in self._leads:
                self.entries.pop(key, None)
                self.links.pop(key, None)

    def _causes(self, key: int) -> set[int]:
        found = {link["cause"] for link in self.links.get(key, ())}
        return found - {None}

    def _read(self, keys: Collection[int]) -> None:
        old: set[int] = set()
        self.links |= {key: [] for key in keys}
        for row in self.session.execute(self._rows(keys).add_columns(RecallEntry.links)):
            self.entries[row.id] = _entry(row)
            if row.links is not None:
                self.links[row.id] = orjson.loads(row.links)
            elif row.list_name in REACHED:
                old.add(row.id)
        if old:
            self.links |= old_paths.links_from_names(self.session, self.recall, old)

    def _read_heads(self, keys: Collection[int]) -> None:
        for some in chunks(sorted(keys), LOT):
            for row in self.session.execute(self._rows(some)):
                self.entries[row.id] = _entry(row)

    def _rows(self, keys: Collection[int]) -> Select[*tuple[Any, ...]]:
        certificate = Certificate.id, Certificate.number, Certificate.revision, Certificate.issuer
        entry = RecallEntry.list_name, RecallEntry.item, RecallEntry.generation
        return (
            select(*certificate, *entry, RecallEntry.verdict_changes)
            .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
            .where(RecallEntry.recall_id == self.recall.id, Certificate.id.in_(keys))
        )


def _entry(row: Any) -> Record:
    return {
        "certificate": row.number,
        "revision": row.revision,
        "issuer": row.issuer,
        "item": row.item,
        "class": row.list_name,
        "generation": row.generation,
        "verdict_changes": row.verdict_changes,
    }
