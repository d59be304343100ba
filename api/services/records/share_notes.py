"""What the shares of the parts of an assembly leave open; an import says so and refuses nothing.

An assembly without a value in force of its own passes on what its measuring parts pass on, each by
its share. Shares are given for all measuring parts held, summing to one; or for none, and then
they are equal, if each of the parts has a value. Anything else leaves a recall unable to say what
the assembly passed on.

Looked at is every stretch of time between two changes of what an assembly held. A part has a value
in a stretch if one of its certificates served at any time of it, or, for an assembly within, if
each of its own measuring parts has one. An assembly that has a value of its own in the stretch
needs no shares.

Not looked at: whether the shares are right.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from api.services.base.record import Record
from api.store.item_values import ServingRow
from api.store.records import PartRow
from api.store.sources import Source
from graph.compound import MEASURING
from graph.moments import text_of

MOST_NOTES = 100
PARTLY, SUM, ABSENT = "shares_partly", "shares_sum", "shares_absent"


class Stretch(NamedTuple):
    """From (inclusive) until (exclusive; None: open), in microseconds."""

    from_us: int
    until_us: int | None

    def meets(self, from_us: int, until_us: int | None) -> bool:
        """Whether another stretch has an instant in common with this one."""
        return (self.until_us is None or from_us < self.until_us) and (
            until_us is None or until_us > self.from_us
        )


@dataclass(frozen=True, slots=True)
class Shares:
    """Measuring parts by the id of their assembly, and what served by the key of the item."""

    parts: Mapping[str, list[PartRow]]
    servings: Mapping[int, list[ServingRow]]
    keys: Mapping[str, int]

    def held(self, assembly: str, stretch: Stretch) -> list[PartRow]:
        """Return the measuring parts that an assembly held in a stretch."""
        return [
            one for one in self.parts.get(assembly, ()) if stretch.meets(one.from_us, one.until_us)
        ]

    def own_value(self, key: int, stretch: Stretch) -> bool:
        """Whether an item has a value of its own at any time of a stretch."""
        return any(
            one.serves_from_us is not None
            and one.assigns_value
            and stretch.meets(max(one.serves_from_us, one.performed_us), one.serves_until_us)
            for one in self.servings.get(key, ())
        )

    def has_value(self, part: PartRow, stretch: Stretch) -> bool:
        """Whether a part has a value in a stretch, of its own or of its parts."""
        if self.own_value(part.part_id, stretch):
            return True
        within = self.held(part.part, stretch)
        return bool(within) and all(self.has_value(one, stretch) for one in within)

    def stretches(self, assembly: str) -> Iterator[Stretch]:
        """Yield the stretches of time in which an assembly held the same measuring parts."""
        rows = self.parts.get(assembly, [])
        instants = {one.from_us for one in rows}
        instants |= {one.until_us for one in rows if one.until_us is not None}
        ordered = sorted(instants)
        for place, start in enumerate(ordered, start=1):
            yield Stretch(start, ordered[place] if place < len(ordered) else None)


def notes(source: Source, assemblies: Mapping[str, int]) -> list[Record]:
    """Return what is open in these assemblies: code, assembly, since when, parts and detail.

    Parameters
    ----------
    source : Source
        The records.
    assemblies : mapping of str to int
        Ids of items that were named as an assembly, with their keys.
    """
    shares = _read(source, assemblies)
    found: list[Record] = []
    for assembly in sorted(assemblies):
        said: set[tuple[str, tuple[str, ...]]] = set()
        for stretch in shares.stretches(assembly):
            for code, parts, detail in _open(shares, assembly, stretch):
                if (code, parts) not in said and len(found) < MOST_NOTES:
                    said.add((code, parts))
                    since = text_of(stretch.from_us)
                    note: Record = {"code": code, "assembly": assembly, "from": since}
                    found.append(note | {"parts": list(parts), "detail": detail})
    return found


def _open(
    shares: Shares, assembly: str, stretch: Stretch
) -> Iterator[tuple[str, tuple[str, ...], str]]:
    held = shares.held(assembly, stretch)
    given = {one.part: one.share for one in held if one.share is not None}
    without = tuple(sorted({one.part for one in held} - given.keys()))
    if given and without:
        yield PARTLY, without, f"{assembly} gives shares, but none for {', '.join(without)}"
    elif given:
        total = sum((Fraction(share) for share in given.values()), Fraction(0))
        if total != 1:
            parts = tuple(sorted(given))
            written = " + ".join(given[part] for part in parts)
            detail = f"the shares of {', '.join(parts)} in {assembly} are {written}, not 1"
            yield SUM, parts, detail
    elif held and not shares.own_value(shares.keys[assembly], stretch):
        bare = tuple(sorted(one.part for one in held if not shares.has_value(one, stretch)))
        if bare:
            detail = f"{assembly} gives no shares, and {', '.join(bare)} had no value in force"
            yield ABSENT, bare, detail


def _read(source: Source, assemblies: Mapping[str, int]) -> Shares:
    parts: dict[str, list[PartRow]] = {}
    frontier, items = set(assemblies), set(assemblies.values())
    while frontier:
        seen_now = {code: list[PartRow]() for code in frontier}
        for row in source.holdings_in(frontier):
            if row.kind in MEASURING:
                seen_now[row.assembly].append(row)
                items.add(row.part_id)
        parts |= seen_now
        frontier = {row.part for rows in seen_now.values() for row in rows} - parts.keys()
    servings: dict[int, list[ServingRow]] = {}
    for serving in source.servings_of(items):
        servings.setdefault(serving.item_id, []).append(serving)
    return Shares(parts, servings, assemblies)
