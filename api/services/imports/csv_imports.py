"""An import of CSV files: tried until nothing more is refused, then stored or not.

Each attempt is a transaction of its own that is rolled back when it finds a record at fault; that
record and its rows are put aside, and the rest is tried again. So every fault is found whatever it
hides behind, and what goes in was checked as a whole. A fault that belongs to no single record
(a circle of calibrations, say) ends the import.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue
from api.services.base.record import Record
from api.services.base.recording import Recording, begin
from api.services.imports.csv_mapping import Table
from api.services.imports.csv_records import KEYS, Built, Records
from api.services.imports.csv_rows import Refusal
from api.services.imports.imports import import_source
from api.store.chunks import chunks

Load = Callable[[str, Record], tuple[Record, Sequence[Issue]]]
LOT = 2_000
HEADING = ("time_zone", "title", "note")


@dataclass(slots=True)
class CsvImport:
    """The records of one import, and what has become of them; a ``Source`` of what is kept."""

    mapping: Record
    tables: Sequence[Table]
    records: Records
    counts: Record | None = None
    missing: Counter[tuple[str, str]] = field(default_factory=Counter)
    _kept: dict[str, list[Built]] = field(default_factory=dict)
    _named: Counter[str] = field(default_factory=Counter)

    @property
    def heading(self) -> Record:
        """What stands beside the records."""
        return {name: self.mapping[name] for name in HEADING if name in self.mapping}

    def lots(self, collection: str) -> Iterator[Sequence[Record]]:
        """Records of a collection that were not refused, some at a time."""
        for lot in chunks(self._kept[collection], LOT):
            yield [one.loaded for one in lot]

    def numbered(self, collection: str, number: int) -> str:
        """The row of a record, in words."""
        return str(self._kept[collection][number].rows[0])

    def load(self, load: Load) -> None:
        """Load every record by its schema, and refuse those that break it."""
        for collection in KEYS:
            for one in self.records.built[collection].values():
                self._named.update(items_of(one.raw))
                if one.refusal is None:
                    one.loaded, issues = load(collection, one.raw)
                    for issue in issues:
                        self._refuse(one, issue.pointer.split("/")[1:], issue)
                one.raw = {}  # of a large import it would be half of the memory

    def attempt(self, session: Session, now_us: int) -> bool:
        """Try to record what is kept; False if more was refused, and the rest is to be tried.

        Raises Conflict or InvalidRecord if the time zone is another.
        """
        self._kept = {name: self.records.kept(name) for name in KEYS}
        recording = begin(session, now_us, self.heading.get("time_zone"))
        recording.most_issues = sys.maxsize
        try:
            self.counts = import_source(session, self, now_us, recording)
        except (InvalidRecord, Conflict) as error:
            known = len(self.records.refusals)
            for issue in error.issues:
                self._refuse_recorded(issue)
            self._note_missing(recording)
            if any(one.spot is not None for one in self.records.refusals[known:]):
                return False
        self._count_missing_items(recording)
        return True

    def drag(self) -> None:
        """Report every other row of a refused record too."""
        own = {one.spot.place for one in self.records.refusals if one.spot is not None}
        for name in KEYS:
            for built in self.records.built[name].values():
                if built.refusal is None:
                    continue
                reason = f"{built.name} is refused: {built.refusal.spot}"
                for place, spot in {spot.place: spot for spot in built.spots()}.items():
                    if place not in own:
                        remedy = "mend what is wrong there"
                        self.records.refusals.append(Refusal(spot, reason, remedy, dragged=True))

    def _refuse(self, built: Built, parts: Sequence[str], issue: Issue) -> None:
        spot, name, columns = built.located(parts)
        refusal = Refusal(spot, issue.detail, issue.remedy, name, columns, issue.value)
        self.records.refuse(built, refusal)

    def _refuse_recorded(self, issue: Issue) -> None:
        _, collection, number, *parts = [*issue.pointer.split("/"), "", ""]
        if not number:
            self.records.refusals.append(Refusal(None, issue.detail, issue.remedy))
            return
        built = self._kept[collection][int(number)]
        item = self.records.built["items"].get((issue.value,))
        if item is not None and item.refusal is not None and f'"{issue.value}"' in issue.detail:
            reason = f"{item.name} is refused: {item.refusal.spot}"
            issue = Issue(issue.pointer, reason, "mend what is wrong there", issue.value)
        self._refuse(built, [part for part in parts if part], issue)

    def _note_missing(self, recording: Recording) -> None:
        sent = {number for number, *_ in self.records.built["calibrations"]}
        for (kind, code), count in recording.missing.items():
            refused = kind == "certificates" and code.rsplit(" rev. ", 1)[0] in sent
            if kind != "items" and not refused:
                self.missing[kind, code] += count

    def _count_missing_items(self, recording: Recording) -> None:
        """Count how often records name an item which neither a file nor the database has."""
        sent = {code for (code,) in self.records.built["items"]}
        elsewhere = self._named.keys() - sent
        recording.know_items(elsewhere)
        for code in elsewhere - recording.items.keys():
            self.missing["items", code] = self._named[code]


def items_of(raw: Mapping[str, object]) -> list[str]:
    """Return the items that a record names, each as often as it does.

    >>> items_of({"item": "A", "uses": [{"item": "B"}, {"item": "B"}]})
    ['A', 'B', 'B']
    """
    named = [raw.get(name) for name in ("item", "assembly", "part", "against")]
    uses = raw.get("uses")
    if isinstance(uses, list):
        named += [use.get("item") for use in uses]
    return [name for name in named if isinstance(name, str)]
