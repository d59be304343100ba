"""Reason paths: how a certificate is reached from the fault, shortest first.

Each certificate keeps its best paths (by length, then text) and the number of all of them. Keeping
the best of every predecessor is enough to know one's own best, since all paths through one
predecessor get the same two names appended and so keep their order.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from graph.links import Path

MOST_PATHS = 50


@dataclass(frozen=True, slots=True)
class Reasons:
    """How a certificate is reached.

    Attributes
    ----------
    paths : tuple of tuple of str
        The best reason paths, the shortest first, at most 50.
    count : int
        How many there are.
    generation : int
        The fewest certificates on one.
    """

    paths: tuple[Path, ...]
    count: int
    generation: int


def joined(several: Sequence[Reasons]) -> Reasons:
    """Reasons of several faults for one certificate, as one."""
    if len(several) == 1:
        return several[0]
    found = {path for one in several for path in one.paths}
    count = sum(one.count for one in several)
    return _capped(found, count, min(one.generation for one in several))


def reasons(
    number: str, direct: Iterable[Path], through: Iterable[tuple[Path, Reasons]]
) -> Reasons:
    """Paths to certificate `number`: its direct ones, and those through used items.

    `through` holds one pair for each way on: the item used (after its part that carried the value,
    if it was a part), and the reasons of the certificate of that value. There is at least one path.
    """
    found, ways = set(direct), list(through)
    if len(ways) == 1 and not found:
        ((items, before),) = ways
        paths = tuple([(*path, *items, number) for path in before.paths])
        return Reasons(paths, before.count, before.generation + 1)
    count = len(found)
    generation = 1 if found else None
    for items, before in ways:
        found.update((*path, *items, number) for path in before.paths)
        count += before.count
        if generation is None or before.generation + 1 < generation:
            generation = before.generation + 1
    if generation is None:
        raise ValueError(f"{number} is reached by no path")
    return _capped(found, count, generation)


def _capped(found: set[Path], count: int, generation: int) -> Reasons:
    best = sorted(found, key=lambda path: (len(path), path))
    # Below the cap every path is in hand, and two that read the same are one.
    total = len(best) if count <= MOST_PATHS else count
    return Reasons(tuple(best[:MOST_PATHS]), total, generation)
