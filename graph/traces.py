"""Which certificates, items and fault does a reason path name? Read off the graph by key.

A path names certificates by number, and several revisions or issuers may share one; the graph of
what was found (`graph.affected.found_part`) knows by key which led to which. So a path is followed
from its last certificate back to the fault, and no name is taken for anything that it is not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from graph.links import Origin
from graph.traceability import Graph, incoming


@dataclass(frozen=True, slots=True)
class Trace:
    """One reason path, taken apart.

    Attributes
    ----------
    concerns : str
        "item", "channel", "method" or "certificate".
    start : str
        The name that the path begins with.
    fault : mapping
        The fault that it belongs to.
    through : tuple of str
        The assemblies from the faulty part upwards; of a wrong certificate the item used at its
        values, then what held that.
    role : str or None
        That of a faulty channel.
    steps : tuple of (str, str or None)
        The certificates on the path, each with the item used next (None for the last).
    within : tuple of tuple of str
        For each step the assemblies that held that item when it was used, from it upwards.
    """

    concerns: str
    start: str
    fault: Mapping[str, Any]
    through: tuple[str, ...]
    role: str | None
    steps: tuple[tuple[str, str | None], ...]
    within: tuple[tuple[str, ...], ...] = ()


class _Way(NamedTuple):
    """A way back as far as it was followed: the certificate reached, the names before it, steps."""

    key: int
    before: tuple[str, ...]
    steps: tuple[tuple[str, str | None], ...]
    within: tuple[tuple[str, ...], ...]


def traced(
    part: Graph, key: int, path: Sequence[str], faults: Sequence[Mapping[str, Any]]
) -> Trace | None:
    """Take a reason path apart.

    Parameters
    ----------
    part : networkx.MultiDiGraph
        As `graph.affected.found_part` gives it, with all that leads to the certificate.
    key : int
        The certificate whose path it is.
    path : sequence of str
        One of its `reason_paths`.
    faults : sequence of mapping
        The faults of the recall.

    Returns
    -------
    Trace or None
        None where a certificate on the way stands in no list.
    """
    *before, number = path
    ways = [_Way(key, tuple(before), ((number, None),), ((),))]
    while ways:
        way = ways.pop()
        for cause, names, link in _leading(part, way.key):
            if way.before[-len(names) :] != names:
                continue
            rest = way.before[: len(way.before) - len(names)]
            if isinstance(cause, Origin):
                if not rest:
                    return _trace(way, cause, names, link, faults)
            elif rest and rest[-1] == part.nodes[cause]["entry"]["certificate"]:
                item, *within = names
                steps, held = ((rest[-1], item), *way.steps), (tuple(within), *way.within)
                ways.append(_Way(cause, rest[:-1], steps, held))
    return None


def _leading(
    part: Graph, key: int
) -> Iterator[tuple[int | Origin, tuple[str, ...], Mapping[str, Any]]]:
    """The certificates and faults that lead to a certificate, each with the names between."""
    for before, edges in incoming(part)[key].items():
        cause = before if isinstance(before, Origin) else before.source
        for edge in edges.values():
            link = edge["link"]
            yield cause, tuple(link["names"]), link


def _trace(
    way: _Way,
    origin: Origin,
    names: tuple[str, ...],
    link: Mapping[str, Any],
    faults: Sequence[Mapping[str, Any]],
) -> Trace:
    by_channel = origin.channel is not None
    return Trace(
        origin.concerns,
        origin.start,
        faults[link["fault"]],
        () if by_channel else names[1:],
        names[1] if by_channel and len(names) > 1 else None,
        way.steps,
        way.within,
    )
