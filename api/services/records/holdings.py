"""Which assemblies held a part, over all time, wherever the records are read."""

from __future__ import annotations

from collections.abc import Iterable

from api.store.sources import Source
from graph.model import Holding


def holdings_above(source: Source, codes: Iterable[str]) -> list[Holding]:
    """Every holding of these parts, of the assemblies that held them, and so on upwards."""
    known: dict[int, Holding] = {}
    seen: set[str] = set()
    frontier = set(codes)
    while frontier:
        seen |= frontier
        rows = source.holdings_of(frontier)
        known.update((row.id, Holding(*row[1:5])) for row in rows)
        frontier = {row.assembly for row in rows} - seen
    return list(known.values())
