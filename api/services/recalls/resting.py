"""What each use rested on beyond the value of its own item, and what it may have rested on.

The value in force of an item is resolved when records are written, so that a recall follows keys.
Few items leave more to be asked: assemblies, which pass on what their parts carry, and items whose
certificates leave open which of them it was (a void without date, a mode that nobody recorded, a
range that does not hold the force). Their histories are read when they are met, once a recall.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from api.store.item_values import ServingRow
from api.store.sources import Source
from graph.compound import Assemblies, Part
from graph.in_force import Candidate, Doubt, Range
from graph.model import Held, Holding
from graph.moments import Moment


@dataclass(frozen=True, slots=True)
class Rest:
    """What one use rested on besides the value of its item, as `graph.model.Use` has it."""

    ranked: tuple[Candidate, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    held: tuple[Held, ...] = ()


NOTHING_MORE = Rest()


@dataclass(slots=True)
class Histories:
    """Certificates and parts of the items that a recall met."""

    source: Source
    parts: dict[str, list[Part]] = field(default_factory=dict)
    candidates: dict[str, list[Candidate]] = field(default_factory=dict)
    confirming: dict[str, list[Candidate]] = field(default_factory=dict)
    _known: set[int] = field(default_factory=set)
    _read: set[int] = field(default_factory=set)  # of these the certificates are here
    _open: set[str] = field(default_factory=set)  # items that leave something to be asked
    _rests: dict[tuple[str, Moment, str | None, int | None, bool], Rest] = field(
        default_factory=dict
    )
    _assemblies: Assemblies = field(init=False)

    def __post_init__(self) -> None:
        self._assemblies = Assemblies(self.parts, self.candidates, self.confirming)

    def learn(self, items: Mapping[int, str]) -> None:
        """Learn of items (ids by key) whether they leave something to be asked; read what does.

        Certificates are read of items of which those leave open which value it was, of assemblies
        and of whatever they ever held. Of all others, which are nearly all, nothing is asked again.
        """
        new = {key: code for key, code in items.items() if key not in self._known}
        while new:
            self._known |= new.keys()
            self._open.update(new[key] for key in self.source.ambiguous_items(sorted(new)))
            held: dict[int, str] = {}
            for row in self.source.holdings_in(sorted(new.values())):
                holding = Holding(row.assembly, row.part, row.from_us, row.until_us)
                share = None if row.share is None else Fraction(row.share)
                self.parts.setdefault(row.assembly, []).append(Part(holding, row.kind, share))
                self._open.add(row.assembly)
                held[row.part_id] = row.part
            asked = {key: code for key, code in new.items() if code in self._open} | held
            self._read_certificates({k: code for k, code in asked.items() if k not in self._read})
            new = {key: code for key, code in held.items() if key not in self._known}

    def leave_open(self, code: str) -> bool:
        """Whether the users of an item rest, or may rest, on more than its value in force."""
        return code in self._open

    def rest(
        self, code: str, at: Moment, mode: str | None, source: int | None, *, named: bool = False
    ) -> Rest:
        """Return what a use of an item rested on besides the value of certificate `source`.

        Where the use names that certificate, there is no doubt about it.
        """
        if code not in self._open:
            return NOTHING_MORE
        asked = code, at, mode, source, named
        found = self._rests.get(asked)
        if found is None:
            found = self._rests[asked] = self._rest(code, at, mode, source, named)
        return found

    def _rest(
        self, code: str, at: Moment, mode: str | None, source: int | None, named: bool
    ) -> Rest:
        candidates = self.candidates.get(code, ())
        ranked = self._assemblies.ranked(code, at, mode)
        in_force = next((one for one in candidates if one.key == source), None)
        own_us = None if in_force is None else in_force.performed_us
        if source is not None and in_force is None:  # named, though it serves nobody
            row = next(self.source.certificates([source]))
            # What only confirmed limits is no value of the assembly's own.
            own_us = row.performed_us if row.assigns_value else None
        held = self._assemblies.held(code, at, mode, own_us, named=named)
        if named:
            return Rest(held=held)
        return Rest(_wider(ranked), tuple(self._assemblies.doubts(code, at, mode)), held)

    def _read_certificates(self, items: Mapping[int, str]) -> None:
        self._read |= items.keys()
        rows: dict[int, list[ServingRow]] = defaultdict(list)
        for row in self.source.servings_of(sorted(items)):
            if row.assigns_value:
                rows[row.item_id].append(row)
            else:
                candidate = _candidate(row, row.performed_us)
                self.confirming.setdefault(items[row.item_id], []).append(candidate)
        for item, some in rows.items():
            begins = _begins(some)
            self.candidates[items[item]] = [_candidate(row, begins[row.id]) for row in some]


def _begins(rows: Iterable[ServingRow]) -> dict[int, int]:
    """From when each revision would have served, were it issued.

    One that was voided without any date does not come before the one that it follows.
    """
    found: dict[int, int] = {}
    before: dict[tuple[str, str], int] = {}
    for row in sorted(rows, key=lambda row: row.revision):
        name = row.issuer, row.number
        begins = row.performed_us
        if name in before and row.issued_us is not None:
            begins = row.issued_us
        elif name in before and row.status == "voided" and row.voided_us is None:
            begins = max(begins, before[name])
        found[row.id] = before[name] = begins
    return found


def _candidate(row: ServingRow, begins_us: int) -> Candidate:
    undated = row.status == "voided" and row.voided_us is None
    from_us = begins_us if undated else row.serves_from_us
    return Candidate(
        row.id,
        (row.performed_us, row.revision, row.number),
        row.mode,
        from_us,
        row.serves_until_us,
        undated,
        _span(row.span_from, row.span_to),
    )


@lru_cache(maxsize=4_096)
def _span(low: str | None, high: str | None) -> Range | None:
    """Return a calibrated range; few certificates of a laboratory have one of their own."""
    return None if low is None or high is None else (Fraction(low), Fraction(high))


def _wider(ranked: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
    """The value in force and those before it whose range goes beyond; empty if there is none."""
    if not ranked or ranked[0].span is None:
        return ()
    first, span = ranked[0], ranked[0].span
    beyond = [
        one
        for one in ranked[1:]
        if one.span is not None and (one.span[0] < span[0] or one.span[1] > span[1])
    ]
    return (first, *beyond) if beyond else ()


def users_beyond(source: Source, histories: Histories, items: Collection[int]) -> set[int]:
    """Certificates that used one of these items that leaves something to be asked, or what held it.

    Some of them rest on a certificate of it through a part or in doubt; the links of their uses say
    which.
    """
    bearing = source.bearing_items(items)
    codes = {key: words[0] for key, words in source.item_words(sorted(bearing)).items()}
    histories.learn(codes)
    wanted = {code for code in codes.values() if histories.leave_open(code)}
    frontier = set(codes.values())
    seen: set[str] = set()
    while frontier:
        seen |= frontier
        above = {row.assembly for row in source.holdings_of(sorted(frontier))}
        wanted |= above
        frontier = above - seen
    keys = source.item_keys(sorted(wanted)) if wanted else set()
    return source.users_of_items(keys) if keys else set()
