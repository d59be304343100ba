"""A fault is reported; every certificate it reaches comes back, with evidence for each.

Order of steps: who could be reached (`api.services.recalls.reach`), the engine, the verdicts.
The hash of the result covers what was found and not when or under which number, so that the same
question on the same data gives the same bytes.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import orjson

from api.errors import Conflict, Issue
from api.rules import ENGINE_VERSION
from api.services.base.record import Record, digest
from api.services.recalls import reach
from api.services.recalls.entries import Entries
from api.services.recalls.faults import Reported
from api.services.recalls.reach import NONE, Gathered, Looks
from api.services.recalls.reading import Traced
from api.services.recalls.reading_results import Measured, Statement
from api.spans import spanned
from api.store.links import Window
from api.store.reading import SessionReader
from api.store.records import CertificateRow
from api.store.sources import Recorded, Source
from graph.circles import way_round
from graph.corrected import GIVING_BACK, gives_back
from graph.links import recorded
from graph.lists import AFFECTED, INDETERMINATE, LISTS, Judgement, rank
from graph.model import Calibration
from graph.recall import assess
from graph.traceability import CyclicTrace, in_order_of_dependence, reached

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from api.store.tables import Recall


UNTIE = (
    "correct one of their uses, or the stay of a part in an assembly that they used; until then "
    "tracehold recall --reach lists who could be reached"
)


class Entry(NamedTuple):
    """One entry of one list: where it sorts, what it can be filtered by, and its JSON text."""

    rank: tuple[int, str, int]
    certificate: int
    item: str
    customer: str | None
    verdict_changes: bool | None
    shift_over_U: float | None
    shift_over_tolerance: float | None
    text: str
    links: str | None = None


def made_entry(
    rank_in_list: tuple[int, str, int], certificate: int, made: Record, links: str | None = None
) -> Entry:
    """Keep an entry as text, with what a list is sorted and filtered by beside it."""
    over_U, over_tolerance = made.get("max_shift_over_U"), made.get("max_shift_over_tolerance")
    return Entry(
        rank_in_list,
        certificate,
        made["item"],
        made.get("customer"),
        made.get("verdict_changes"),
        None if over_U is None else float(over_U),
        None if over_tolerance is None else float(over_tolerance),
        orjson.dumps(made).decode(),
        links,
    )


def kept_links(finding: Judgement) -> str | None:
    """Return what leads to a certificate, by key, as JSON text; None where nothing does.

    It is kept beside the entry and is no part of it: the hash of a result stays what it is.
    """
    if not finding.links:
        return None
    uses = finding.calibration.uses
    told: dict[int, Record] = {}
    made: list[Record] = []
    for link in finding.links:
        place = link.use
        if place is not None and place not in told:
            told[place] = recorded(uses[place])
        way = {"fault": link.fault, "cause": link.cause, "names": link.names, "use": place}
        made.append(way if place is None else way | told[place])
    return orjson.dumps(made).decode()


@dataclass(frozen=True, slots=True)
class Answer:
    """A recall as found, without number and time.

    `sought` are the times in which it asked who names nothing in a role.
    """

    head: Record
    lists: dict[str, list[Entry]]
    input_hash: str
    result_hash: str
    as_of_us: int
    faults: list[Record]
    sought: tuple[Window, ...]


@spanned("recall")
def recall(session: Session, request: Record, now_us: int) -> Answer:
    """Find what the reported faults reach in the database; nothing is stored.

    Raises as `recall_from` does, and InvalidRecord if the look before it is not recorded.
    """
    # A snapshot is recalled from without the tables that this asks.
    from api.services.recalls.giving_back import looks_before

    looks = looks_before(session, request)
    return recall_from(Recorded(SessionReader(session)), request, now_us, looks)


def again(session: Session, stored: Recall, now_us: int) -> Answer:
    """Find what the faults of a stored recall reach today; raises as `recall_from` does."""
    from api.services.recalls.giving_back import looks_of

    source, looks = Recorded(SessionReader(session)), looks_of(session, stored)
    return recall_from(source, {"faults": stored.faults}, now_us, looks)


def recall_from(source: Source, request: Record, now_us: int, looks: Looks = NONE) -> Answer:
    """Find what the reported faults reach, wherever the records are read.

    What `looks` at it took from revisions, and none of the faults speaks for, is given back.

    Raises
    ------
    UnknownReference
        If a faulty item is not recorded.
    InvalidRecord
        If a fault contradicts itself.
    """
    asked = reach.asked(source, request)
    traced = Traced(source, asked.methods)
    gathered = reach.gather(source, asked.reported, traced, looks.corrected)
    measured = gathered.measured or Measured(traced)
    windows, given_back = gathered.windows, looks.numbers if looks.corrected else frozenset()
    beside = [GIVING_BACK] if gives_back(given_back, gathered.cases) else []
    cases = [*gathered.cases, *beside]
    lists: dict[str, list[Entry]] = {name: [] for name in LISTS}
    tally = Tally()
    written = Entries(cases, traced, gathered.gaps)
    for finding, statements in _findings(gathered, asked.reported, measured, given_back):
        made = written.entry(finding, statements)
        tally.count(made)
        key = finding.calibration.key
        lists[finding.list_name].append(made_entry(rank(finding), key, made, kept_links(finding)))
    for entries_found in lists.values():
        entries_found.sort()
    head = {
        "engine_version": ENGINE_VERSION,
        **({"window": windows[0]} if len(windows) == 1 else {"windows": windows}),
        "notes": [*gathered.notes, *looks.notes],
        "summary": tally.summary(),
    }
    result = hashlib.sha256(orjson.dumps(head))
    for name in LISTS:
        for one in lists[name]:
            result.update(one.text.encode())
    return Answer(
        head,
        lists,
        _input_hash(asked.faults, gathered, measured),
        result.hexdigest(),
        now_us,
        asked.faults,
        gathered.sought,
    )


@dataclass(slots=True)
class Tally:
    """What the summary counts, entry by entry."""

    lists: Counter[str] = field(default_factory=Counter)
    generations: Counter[int] = field(default_factory=Counter)
    customers: set[str] = field(default_factory=set)
    verdict_changes: int = 0
    could_change: int = 0
    undecided: int = 0

    def count(self, made: Record) -> None:
        """Count one entry; customers, generations and changes are those of recalled ones."""
        self.lists[made["class"]] += 1
        if made["class"] not in (AFFECTED, INDETERMINATE):
            return
        self.generations[made["generation"]] += 1
        self.verdict_changes += bool(made.get("verdict_changes"))
        self.could_change += bool(made.get("could_change"))
        self.undecided += made["verdict_changes"] is None
        if "customer" in made:
            self.customers.add(made["customer"])

    def summary(self) -> Record:
        """Return the counts as the API shows them."""
        return {
            **{name: self.lists[name] for name in LISTS},
            "verdict_changes": self.verdict_changes,
            "could_change": self.could_change,
            "undecided": self.undecided,
            "customers": len(self.customers),
            "by_generation": {str(n): self.generations[n] for n in sorted(self.generations)},
        }


def _findings(
    gathered: Gathered,
    reported: Sequence[Reported],
    measured: Measured,
    given_back: frozenset[str],
) -> Iterator[tuple[Judgement, Sequence[Statement]]]:
    """Judge everyone read, in order of dependence, some hundred at a time."""
    traced, with_points = measured.traced, gathered.reached
    if any(one.fault.by_points for one in reported):
        with_points = with_points | gathered.direct  # which range clears a use is seen at points
    by_time = sorted(traced.calibrations.values(), key=lambda one: (one.performed, one.key))
    graph = reached(by_time, {name for case in gathered.cases for name in case.names})
    try:
        order = in_order_of_dependence(graph)
    except CyclicTrace as knot:
        way = way_round(knot.circle, {key: traced.rows[key].number for key in knot.circle})
        said = f"the records say that a calibration rests on itself: {way}"
        raise Conflict(said, [Issue("", said, UNTIE)]) from knot
    statements: dict[int, Sequence[Statement]] = {}

    def calibrations() -> Iterator[Calibration]:
        for calibration, stated in measured.in_order(order, with_points):
            statements.clear()
            statements[calibration.key] = stated
            yield calibration

    for finding in assess(gathered.cases, calibrations(), graph, gathered.gaps, given_back):
        yield finding, statements[finding.calibration.key]


def _input_hash(faults: Sequence[Record], gathered: Gathered, measured: Measured) -> str:
    """Digest of what was asked and of every record that the answer rests on."""
    found = hashlib.sha256()
    for fault in faults:
        found.update(digest(fault).encode())
    for case in gathered.cases:
        for holder in case.holders:
            held = [[one.start_us, one.end_us] for one in holder.holdings]
            found.update(orjson.dumps([holder.chain, held]))
    found.update(orjson.dumps(gathered.windows))
    traced = measured.traced
    for judge in sorted(measured.judges.values(), key=lambda judge: judge.rule.id or ""):
        found.update(repr(judge.rule).encode())
    names = {key: _name(row) for key, row in traced.rows.items()}
    for key in sorted(names, key=names.__getitem__):
        row, calibration = traced.rows[key], traced.calibrations[key]
        sources = [names.get(use.source or 0, "") for use in calibration.uses]
        record = [names[key], row.status, row.content_hash, calibration.item_type, sources]
        found.update(orjson.dumps(record))
    return found.hexdigest()


def _name(row: CertificateRow) -> str:
    return f"{row.issuer}\n{row.number}\n{row.revision}"
