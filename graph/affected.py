"""The affected part of a recall as a graph: what leads from the fault to which certificate.

Built from the entries of a stored recall, not from the records, so that it shows what was found
then. Edges run from cause to effect. An item that a listed certificate calibrated stands in the
graph once for each such certificate, as calibrated by it: two calibrations give it two values, and
the graph has no circle even where two items calibrated each other in turn.

Not checked: a path names certificates by number only. Where several revisions or issuers share a
number, the one that calibrated the item named next is taken, recalled ones before the rest, then
the highest revision. Beyond the cap on paths of a certificate, links may be missing; such
certificates carry `paths_not_shown`.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeAlias
from urllib.parse import quote

import networkx as nx

from graph.recall import AFFECTED, EXPOSED, INDETERMINATE, TRACED

Entry = Mapping[str, Any]
# Lists whose certificates something faulty reached, those that matter most first.
REACHED = (AFFECTED, INDETERMINATE, EXPOSED, TRACED)
ITEM, CHANNEL, METHOD, CERTIFICATE = "item", "channel", "method", "certificate"
FAULT = "fault"
FAULTY, HOLDING, CALIBRATED = "faulty", "holding", "calibrated"
METHOD_PREFIX = "method:"
# The writer gives all but ASCII as references. Control characters and surrogates are refused where
# texts come in, which leaves U+FFFE and U+FFFF of what XML 1.0 (section 2.2) cannot hold.
_NOT_IN_XML = re.compile("&#6553[45];")
# The affected part of a recall; `affected_part` makes it.
Part: TypeAlias = nx.DiGraph


# A certificate, the item of it that was used next (None for the last), and what held that item.
Step = tuple[str, str | None, tuple[str, ...]]


class Identity(NamedTuple):
    """What tells one certificate from all others.

    Parameters
    ----------
    issuer : str
        Empty for our own.
    number : str
        Of the certificate.
    revision : int
        From 0.
    """

    issuer: str
    number: str
    revision: int


class Used(NamedTuple):
    """A recorded use of an item.

    Parameters
    ----------
    item, role : str
        Its code, and what it was used as.
    weight : str or None
        As text, if one was recorded.
    """

    item: str
    role: str
    weight: str | None


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
        The assemblies from the faulty part upwards, or the item used with the values of the wrong
        certificate.
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


def identity(entry: Entry) -> Identity:
    """Return the identity of the certificate of an entry.

    Parameters
    ----------
    entry : mapping
        An entry of a stored recall.

    Returns
    -------
    Identity

    Examples
    --------
    >>> identity({"certificate": "W-202", "revision": 1})
    Identity(issuer='', number='W-202', revision=1)
    """
    return Identity(entry.get("issuer") or "", entry["certificate"], entry["revision"])


def traced(
    path: Sequence[str],
    faults: Iterable[Mapping[str, Any]],
    items_of: Mapping[str, Collection[str]],
) -> Trace:
    """Take a reason path apart.

    Parameters
    ----------
    path : sequence of str
        One of an entry's `reason_paths`.
    faults : iterable of mapping
        The faults of the recall.
    items_of : mapping of str to collection of str
        For the numbers of the listed certificates, the items that they calibrated
        (`items_by_number`).

    Returns
    -------
    Trace

    Raises
    ------
    ValueError
        If no fault of the recall can begin the path so.
    """
    for fault in faults:
        for concerns, before in _beginnings(path, fault):
            steps = _steps(path[before:], items_of)
            if steps is None:
                continue
            role = path[1] if concerns == CHANNEL else None
            through = () if concerns == CHANNEL else tuple(path[1:before])
            plain = tuple((number, item) for number, item, _ in steps)
            within = tuple(held for _, _, held in steps)
            return Trace(concerns, path[0], fault, through, role, plain, within)
    raise ValueError(f"no fault of the recall begins the path {list(path)}")


def _beginnings(path: Sequence[str], fault: Mapping[str, Any]) -> Iterator[tuple[str, int]]:
    """What the path may begin with, and how many names stand before its first certificate."""
    start = path[0]
    if "method" in fault:
        if start == METHOD_PREFIX + fault["method"]:
            yield METHOD, 1
    elif "certificate" in fault:
        if start == fault["certificate"]:
            yield CERTIFICATE, 2
    else:
        channel = fault.get("channel")
        if channel is not None and start == f"{fault['item']}:{channel}":
            yield CHANNEL, 2
        if start == fault["item"]:
            yield from ((ITEM, before) for before in range(1, len(path)))


def _steps(rest: Sequence[str], items_of: Mapping[str, Collection[str]]) -> list[Step] | None:
    """Certificates, items and what held these in turn, if that is what these names are."""
    if len(rest) == 1:
        return [(rest[0], None, ())]
    if len(rest) < 3 or rest[1] not in items_of.get(rest[0], ()):
        return None
    for after in range(2, len(rest)):
        onward = _steps(rest[after:], items_of)
        if onward is not None:
            return [(rest[0], rest[1], tuple(rest[2:after])), *onward]
    return None


def items_by_number(entries: Iterable[Entry]) -> dict[str, set[str]]:
    """Return the items that the certificates of each number calibrated.

    Parameters
    ----------
    entries : iterable of mapping
        Entries of a stored recall.

    Returns
    -------
    dict of str to set of str
    """
    found: dict[str, set[str]] = {}
    for entry in entries:
        found.setdefault(entry["certificate"], set()).add(entry["item"])
    return found


def affected_part(
    faults: Sequence[Mapping[str, Any]],
    entries: Iterable[Entry],
    uses: Mapping[Identity, Sequence[Used]] | None = None,
) -> nx.DiGraph:
    """Return the graph of a recall's entries; those without a path to the fault are left out.

    Nodes have a `label` and a `kind`: "fault" (with `concerns`), "item" (`item` and its `state`:
    faulty, holding the faulty part, or as calibrated), or "certificate" (`number, revision, issuer,
    item, list, generation, verdict_changes, could_change, customer, external`; what is unknown is
    left out). Edges run from cause to effect; those to a certificate carry `role` and `weight`
    where they are known: from the path, or from `uses`.

    Parameters
    ----------
    faults : sequence of mapping
        The faults of the recall, as stored.
    entries : iterable of mapping
        The entries of its lists, as stored.
    uses : mapping of Identity to sequence of Used, optional
        What the certificates recorded.

    Returns
    -------
    networkx.DiGraph
        Nodes and edges in order of their names.

    Raises
    ------
    ValueError
        If a path fits no fault.
    """
    reached = [entry for entry in entries if entry.get("reason_paths")]
    # Most important first, so that the first one found under a number and item is the one meant.
    reached.sort(key=lambda e: (REACHED.index(e["class"]), e["certificate"], -e["revision"]))
    part = nx.DiGraph()
    carriers: dict[tuple[str, str], str] = {}
    for entry in reached:
        node = certificate_node(identity(entry))
        carriers.setdefault((entry["certificate"], entry["item"]), node)
        part.add_node(node, **_facts(entry))
    items_of = items_by_number(reached)
    for entry in reached:
        recorded = (uses or {}).get(identity(entry), ())
        for path in entry["reason_paths"]:
            _link(part, traced(path, faults, items_of), entry, carriers, recorded)
    return _in_order(part)


def certificate_node(one: Identity) -> str:
    """Name of the node of a certificate; the same in every recall."""
    parts = [one.issuer, one.number, str(one.revision)]
    return "certificate/" + "/".join(_quoted(part) for part in parts if part)


def _quoted(name: str) -> str:
    return quote(name, safe="")


def _facts(entry: Entry) -> dict[str, Any]:
    revision = f" rev. {entry['revision']}" if entry["revision"] else ""
    hidden = entry["path_count"] - len(entry["reason_paths"])
    facts = {
        "kind": CERTIFICATE,
        "label": entry["certificate"] + revision,
        "number": entry["certificate"],
        "revision": entry["revision"],
        "issuer": entry.get("issuer"),
        "item": entry["item"],
        "list": entry["class"],
        "generation": entry["generation"],
        "verdict_changes": entry.get("verdict_changes"),
        "could_change": entry.get("could_change"),
        "customer": entry.get("customer"),
        "external": entry.get("external"),
        "paths_not_shown": hidden or None,
    }
    return {name: value for name, value in facts.items() if value is not None}


def _link(
    part: nx.DiGraph,
    trace: Trace,
    entry: Entry,
    carriers: Mapping[tuple[str, str], str],
    recorded: Sequence[Used],
) -> None:
    """Add the last stretch of a path; what comes before is told by the certificates on it."""
    node = certificate_node(identity(entry))
    if len(trace.steps) == 1:
        cause, item = _origin(part, trace)
    else:
        number, used = trace.steps[-2]
        item = used or ""
        before = carriers[number, item]
        cause = f"item/{_quoted(item)}/as/{before.removeprefix('certificate/')}"
        part.add_node(cause, kind=ITEM, label=item, item=item, state=CALIBRATED)
        part.add_edge(before, cause)
        for item in trace.within[-2]:
            cause = _held_in(part, item, cause)
    part.add_edge(cause, node, **_use_facts(trace, item, recorded))


def _origin(part: nx.DiGraph, trace: Trace) -> tuple[str, str]:
    """Add fault, faulty item and assemblies; return the last of these nodes and its item."""
    node, item = f"fault/{_quoted(trace.start)}", trace.start
    part.add_node(node, kind=FAULT, label=trace.start, concerns=trace.concerns)
    if trace.concerns == CERTIFICATE:
        item = trace.through[0]
        state = f"item/{_quoted(item)}/as/{node}"
        part.add_node(state, kind=ITEM, label=item, item=item, state=CALIBRATED)
        part.add_edge(node, state)
        return state, item
    if trace.concerns == METHOD:
        return node, item
    item = trace.fault["item"]
    suffix = f"/{_quoted(trace.fault['channel'])}" if trace.concerns == CHANNEL else ""
    state = f"item/{_quoted(item)}/faulty{suffix}"
    part.add_node(state, kind=ITEM, label=trace.start, item=item, state=FAULTY)
    part.add_edge(node, state)
    for item in trace.through:
        state = _held_in(part, item, state)
    return state, item


def _held_in(part: nx.DiGraph, assembly: str, held: str) -> str:
    """Add an assembly above the node of what it held; return its node."""
    above = f"item/{_quoted(assembly)}/holding/{held.removeprefix('item/')}"
    part.add_node(above, kind=ITEM, label=assembly, item=assembly, state=HOLDING)
    part.add_edge(held, above)
    return above


def _use_facts(trace: Trace, item: str, recorded: Sequence[Used]) -> dict[str, str]:
    if trace.concerns == METHOD and len(trace.steps) == 1:
        return {"role": METHOD}
    uses = [use for use in recorded if use.item == item]
    if trace.role is not None and len(trace.steps) == 1:
        uses = [use for use in uses if use.role == trace.role] or [Used(item, trace.role, None)]
    roles = sorted({use.role for use in uses})
    weights = sorted({use.weight for use in uses if use.weight is not None})
    facts = {"role": ", ".join(roles), "weight": ", ".join(weights)}
    return {name: value for name, value in facts.items() if value}


def _in_order(part: nx.DiGraph) -> nx.DiGraph:
    """The same graph with nodes and edges by name, so that every reading gives the same bytes."""
    ordered = nx.DiGraph()
    ordered.add_nodes_from(sorted(part.nodes(data=True), key=lambda node: node[0]))
    ordered.add_edges_from(sorted(part.edges(data=True), key=lambda edge: edge[:2]))
    return ordered


def leading_to(part: Part, node: str) -> set[str]:
    """Return a node of a part and everything that leads to it."""
    return {node, *nx.ancestors(part, node)}


def causes_first(part: Part) -> Iterator[str]:
    """Yield the nodes of a part, each after all that leads to it."""
    nodes: Iterator[str] = nx.topological_sort(part)
    return nodes


def graphml(part: nx.DiGraph) -> bytes:
    """Return the graph as GraphML; characters that XML cannot hold become U+FFFD.

    Parameters
    ----------
    part : networkx.DiGraph
        As `affected_part` gives it.

    Returns
    -------
    bytes
        UTF-8.
    """
    text = "\n".join(nx.generate_graphml(part))
    head = '<?xml version="1.0" encoding="UTF-8"?>\n'
    return (head + _NOT_IN_XML.sub("&#65533;", text) + "\n").encode()
