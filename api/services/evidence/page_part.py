"""Which part of a recall is drawn on a page? So much of each generation as a person can read.

Choice: in each generation at most `MOST_DRAWN` certificates are named: first what leads to the
certificate that was chosen, then those whose statement changes or that shift most, then what leads
to certificates named further on. The rest is counted by list and change. Only the entries that are
named are read; the others are counted where they lie, so that ten thousand cost little more than
ten.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlalchemy import ColumnElement, case, func, null, select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.evidence.leading import Leading
from api.store.tables import Recall, RecallEntry
from graph.affected import REACHED
from graph.links import is_channel
from graph.lists import NOT_EXCLUDED

MOST_DRAWN = 24
# Of these, so many are taken for what they show themselves; the rest for what they lead to.
OWN_MERIT = 16
Group = tuple[str, bool]  # a list, and whether a statement of conformity changes
_GENERATION = case((RecallEntry.list_name == NOT_EXCLUDED, null()), else_=RecallEntry.generation)


@dataclass(slots=True)
class Named:
    """One certificate that is drawn, or leads to one."""

    key: int
    number: str
    revision: int
    issuer: str
    item: str
    generation: int | None
    group: Group

    @property
    def label(self) -> str:
        """Number, and the revision where it is not the first."""
        return f"{self.number} rev. {self.revision}" if self.revision else self.number


@dataclass(slots=True)
class Generation:
    """One generation: those drawn, and the rest counted by group.

    What cannot be excluded has none, and stands behind them all with `number` None.
    """

    number: int | None
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
    columns = _GENERATION.label("generation"), RecallEntry.list_name, RecallEntry.verdict_changes
    found: dict[int | None, Generation] = {}
    statement = select(*columns, func.count().label("many")).where(*_reached(recall_id))
    for row in session.execute(statement.group_by(*columns)):
        one = found.setdefault(row.generation, Generation(row.generation))
        changes = bool(row.verdict_changes)
        one.total += row.many
        one.changes += row.many if changes else 0
        one.rest[row.list_name, changes] += row.many
    return [found[number] for number in sorted(found, key=lambda one: (one is None, one))]


def _best(session: Session, recall_id: int) -> dict[int | None, list[int]]:
    """The certificates of each generation that matter most, the most important first."""
    rank = (
        case((RecallEntry.verdict_changes.is_(True), 0), else_=1),
        case({name: place for place, name in enumerate(REACHED)}, value=RecallEntry.list_name),
        func.coalesce(RecallEntry.shift_over_U, -1.0).desc(),
        RecallEntry.position,
    )
    place = func.row_number().over(partition_by=_GENERATION, order_by=rank)
    ranked = (
        select(RecallEntry.certificate_id, _GENERATION.label("generation"), place.label("place"))
        .where(*_reached(recall_id))
        .subquery()
    )
    found: dict[int | None, list[int]] = {}
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
    """Reads entries of one recall, and puts what leads to them into the part."""

    def __init__(self, session: Session, recall: Recall, part: Part) -> None:
        self.part = part
        self.leading = Leading(session, recall)
        self.faults = recall.faults
        self.done: dict[int, Named] = {}

    def light(self, key: int) -> None:
        """Note everything that leads to a chosen certificate."""
        self.leading.learn([key])
        if self.leading.entries.get(key, {}).get("class") not in REACHED:
            return
        frontier = {key}
        while frontier:
            self.part.lit |= frontier
            frontier = {one for on in frontier for one in self._causes(on)} - self.part.lit
        self.part.known |= {one: self._named(one) for one in self.part.lit}

    def read(self, keys: Sequence[int]) -> list[Named]:
        """Read what leads to these certificates directly, and note it in the part."""
        self.leading.learn([key for key in keys if key not in self.done], all_the_way=False)
        for key in keys:
            if key not in self.done:
                self._note(key)
        return [self.done[key] for key in keys]

    def _note(self, key: int) -> None:
        self.done[key] = self._named(key)
        self.part.causes[key] = self._causes(key)
        self.part.known |= {cause: self._named(cause) for cause in self.part.causes[key]}
        self.part.origins[key] = {
            self._origin(link) for link in self.leading.links[key] if link["cause"] is None
        }

    def _causes(self, key: int) -> set[int]:
        """What leads to a certificate and is in one of the lists itself.

        A doubt may come by a certificate that is not issued, and so in none of them.
        """
        causes = {link["cause"] for link in self.leading.links[key]}
        listed = self.leading.entries
        return {one for one in causes if one in listed and listed[one]["class"] in REACHED}

    def _origin(self, link: Record) -> tuple[str, ...]:
        """The names between the fault and a certificate that met it; a role is none of them."""
        fault, (start, *above) = self.faults[link["fault"]], link["names"]
        if "method" in fault:
            return (fault["method"],)
        return (start,) if is_channel(link["names"], fault) else (start, *above)

    def _named(self, key: int) -> Named:
        one = self.leading.entries[key]
        return Named(
            key,
            one["certificate"],
            one["revision"],
            one["issuer"],
            one["item"],
            None if one["class"] == NOT_EXCLUDED else one["generation"],
            (one["class"], bool(one["verdict_changes"])),
        )
