"""Which part of a recall is drawn on a page? So much of each generation as a person can read.

Choice: in each generation at most `MOST_DRAWN` certificates are named: first what leads to the
certificate that was chosen, then those whose statement changes or that shift most, then what leads
to certificates named further on. The rest is counted by list and change. Only the entries that are
named are read; the others are counted where they lie, so that ten thousand cost little more than
ten.

Not checked: a path names certificates by number; see `graph.affected` for which one is meant.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import orjson
from sqlalchemy import ColumnElement, Select, case, func, select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.store.chunks import chunks
from api.store.tables import Certificate, Recall, RecallEntry
from graph.affected import METHOD, METHOD_PREFIX, REACHED, Trace, traced

MOST_DRAWN = 24
# Of these, so many are taken for what they show themselves; the rest for what they lead to.
OWN_MERIT = 16
# Of the paths of one certificate that are followed.
MOST_PATHS = 20
Group = tuple[str, bool]  # a list, and whether a statement of conformity changes


@dataclass(slots=True)
class Named:
    """One certificate that is drawn; `paths` are its reason paths, taken apart."""

    key: int
    number: str
    revision: int
    issuer: str
    item: str
    generation: int
    group: Group
    paths: Sequence[Trace] = ()

    @property
    def label(self) -> str:
        """Number, and the revision where it is not the first."""
        return f"{self.number} rev. {self.revision}" if self.revision else self.number


@dataclass(slots=True)
class Generation:
    """One generation: those drawn, and the rest counted by group."""

    number: int
    total: int = 0
    changes: int = 0
    named: list[Named] = field(default_factory=list)
    rest: Counter[Group] = field(default_factory=Counter)


@dataclass(slots=True)
class Part:
    """What is drawn of a recall.

    `causes` gives for each drawn certificate the keys of those that lead to it directly, drawn or
    not, and `origins` the names from the fault to it, where it met the fault itself; `known` are
    all certificates in `causes` by key; `lit` the keys on the paths of the chosen one.
    """

    generations: list[Generation] = field(default_factory=list)
    causes: dict[int, set[int]] = field(default_factory=dict)
    origins: dict[int, set[tuple[str, ...]]] = field(default_factory=dict)
    known: dict[int, Named] = field(default_factory=dict)
    lit: set[int] = field(default_factory=set)

    @property
    def not_drawn(self) -> int:
        """How many certificates are counted only."""
        return sum(one.rest.total() for one in self.generations)


def drawn_part(session: Session, recall: Recall, chosen: int | None = None) -> Part:
    """Return the part of a recall that is drawn; `chosen` is the key of a certificate it lists."""
    part = Part(_counted(session, recall.id))
    reader = _Reader(session, recall, part)
    if chosen is not None:
        reader.light(chosen)
    best = _best(session, recall.id)
    for generation in reversed(part.generations):
        _name(generation, reader, best.get(generation.number, []))
    return part


def _counted(session: Session, recall_id: int) -> list[Generation]:
    """Every generation with its certificates counted by group, none of them named yet."""
    columns = RecallEntry.generation, RecallEntry.list_name, RecallEntry.verdict_changes
    found: dict[int, Generation] = {}
    statement = select(*columns, func.count().label("many")).where(*_reached(recall_id))
    for row in session.execute(statement.group_by(*columns)):
        one = found.setdefault(row.generation, Generation(row.generation))
        changes = bool(row.verdict_changes)
        one.total += row.many
        one.changes += row.many if changes else 0
        one.rest[row.list_name, changes] += row.many
    return [found[number] for number in sorted(found)]


def _best(session: Session, recall_id: int) -> dict[int, list[int]]:
    """The certificates of each generation that matter most, the most important first."""
    rank = (
        case((RecallEntry.verdict_changes.is_(True), 0), else_=1),
        case({name: place for place, name in enumerate(REACHED)}, value=RecallEntry.list_name),
        func.coalesce(RecallEntry.shift_over_U, -1.0).desc(),
        RecallEntry.position,
    )
    place = func.row_number().over(partition_by=RecallEntry.generation, order_by=rank)
    ranked = (
        select(RecallEntry.certificate_id, RecallEntry.generation, place.label("place"))
        .where(*_reached(recall_id))
        .subquery()
    )
    found: dict[int, list[int]] = {}
    rows = session.execute(
        select(ranked).where(ranked.c.place <= MOST_DRAWN).order_by(ranked.c.place)
    )
    for row in rows:
        found.setdefault(row.generation, []).append(row.certificate_id)
    return found


def _reached(recall_id: int) -> tuple[ColumnElement[bool], ...]:
    return RecallEntry.recall_id == recall_id, RecallEntry.list_name.in_(REACHED)


def _name(generation: Generation, reader: _Reader, best: Sequence[int]) -> None:
    """Choose the certificates of one generation that are drawn, and read their paths."""
    part = reader.part
    here = {key for key, one in part.known.items() if one.generation == generation.number}
    leads_on = Counter(key for causes in part.causes.values() for key in causes if key in here)
    carriers = [key for key, _ in leads_on.most_common()]
    lit = sorted(part.lit & here)
    ranked = [*lit, *best[:OWN_MERIT], *carriers, *best[OWN_MERIT:]]
    generation.named = reader.read(list(dict.fromkeys(ranked))[:MOST_DRAWN])
    generation.rest.subtract(one.group for one in generation.named)
    generation.rest = +generation.rest


class _Reader:
    """Reads entries of one recall, and puts what their paths say into the part."""

    def __init__(self, session: Session, recall: Recall, part: Part) -> None:
        self.session, self.recall, self.part = session, recall, part
        self.by_number: dict[str, list[Named]] = {}
        self.done: dict[int, Named] = {}

    def light(self, key: int) -> None:
        """Note everything on the paths of a chosen certificate."""
        for one in self.read([key]):
            on_paths = [one, *(found for trace in one.paths for found in self._carriers(trace))]
            self.part.known |= {found.key: found for found in on_paths}
            self.part.lit = {found.key for found in on_paths}

    def read(self, keys: Sequence[int]) -> list[Named]:
        """Read the entries of these certificates; what leads to them is noted in the part."""
        bodies = select(RecallEntry.certificate_id, RecallEntry.body).where(
            *_reached(self.recall.id),
            RecallEntry.certificate_id.in_([key for key in keys if key not in self.done]),
        )
        rows = self.session.execute(bodies).all()
        entries = {row.certificate_id: orjson.loads(row.body) for row in rows}
        self._know(entries.values())
        for key, entry in entries.items():
            one = next(one for one in self.by_number[entry["certificate"]] if one.key == key)
            one.paths = self._paths(entry)
            self.done[key] = one
            self._note(one)
        return [self.done[key] for key in keys if key in self.done]

    def _note(self, one: Named) -> None:
        causes = self.part.causes.setdefault(one.key, set())
        origins = self.part.origins.setdefault(one.key, set())
        for trace in one.paths:
            if len(trace.steps) == 1:
                start = trace.start.removeprefix(METHOD_PREFIX)
                origins.add((start if trace.concerns == METHOD else trace.start, *trace.through))
            else:
                cause = self._carriers(trace)[-2]
                causes.add(cause.key)
                self.part.known[cause.key] = cause

    def _paths(self, entry: Record) -> list[Trace]:
        items_of = {number: {one.item for one in ones} for number, ones in self.by_number.items()}
        paths = entry.get("reason_paths", ())[:MOST_PATHS]
        return [traced(path, self.recall.faults, items_of) for path in paths]

    def _carriers(self, trace: Trace) -> list[Named]:
        """The certificates on a path, which `traced` found to be listed."""
        return [
            next(one for one in self.by_number[number] if used in (None, one.item))
            for number, used in trace.steps
        ]

    def _know(self, entries: Iterable[Record]) -> None:
        """Read who the certificates on the paths of some entries are."""
        names: set[str] = set()
        for entry in entries:
            names.add(entry["certificate"])
            names.update(name for path in entry.get("reason_paths", ()) for name in path)
        for some in chunks(sorted(names - self.by_number.keys())):
            numbered = self.session.execute(_who(self.recall.id, some)).all()
            # Recalled ones before the rest, then the highest revision, as in graph.affected.
            for row in sorted(numbered, key=_importance):
                group = row.list_name, bool(row.verdict_changes)
                who = row.id, row.number, row.revision, row.issuer, row.item, row.generation
                self.by_number.setdefault(row.number, []).append(Named(*who, group))


def _importance(row: Any) -> tuple[int, int, int]:
    return REACHED.index(row.list_name), -row.revision, row.id


def _who(recall_id: int, numbers: Sequence[str]) -> Select[*tuple[Any, ...]]:
    certificate = Certificate.id, Certificate.number, Certificate.revision, Certificate.issuer
    entry = RecallEntry.item, RecallEntry.generation, RecallEntry.list_name
    return (
        select(*certificate, *entry, RecallEntry.verdict_changes)
        .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
        .where(*_reached(recall_id), Certificate.number.in_(numbers))
    )
