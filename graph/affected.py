"""The affected part of a recall as a graph: what leads from the fault to which certificate.

Built from the entries of a stored recall and the links that were kept beside them, not from the
records, so that it shows what was found then. `found_part` is the graph by key, in the form of
`graph.traceability`; `affected_part` the same with names that mean something to others, for
GraphML, PROV, pictures and scripts. Edges run from cause to effect.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple
from urllib.parse import quote

import networkx as nx

from graph.exact import text
from graph.links import (
    ASSIGNED,
    CERTIFICATE,
    CHANNEL,
    FAULT,
    ITEM,
    MAY,
    METHOD,
    USED,
    Origin,
    State,
    is_channel,
    recorded,
)
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED, TRACED
from graph.moments import text_of
from graph.traceability import Graph, lead

Entry = Mapping[str, Any]
# One `graph.links.Link` with `graph.links.recorded`, as JSON: `fault`, `cause`, `names`, `use`,
# `role`, `at_us`, `end_us`, `weight`, `channel`.
StoredLink = Mapping[str, Any]
Facts = dict[str, Any]
# Lists whose certificates something faulty reached, or may have; those that matter most first.
REACHED = (AFFECTED, INDETERMINATE, NOT_EXCLUDED, EXPOSED, TRACED)
FAULTY, HOLDING, CALIBRATED = "faulty", "holding", "calibrated"
CONCERNS = "concerns"
# The writer gives all but ASCII as references. Control characters and surrogates are refused where
# texts come in, which leaves U+FFFE and U+FFFF of what XML 1.0 (section 2.2) cannot hold.
_NOT_IN_XML = re.compile("&#6553[45];")
# The affected part of a recall; `affected_part` makes it.
Part = Graph


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


def found_part(
    faults: Sequence[Mapping[str, Any]],
    entries: Mapping[int, Entry],
    links: Mapping[int, Sequence[StoredLink]],
) -> nx.MultiDiGraph:
    """Return the graph of a recall's entries by key.

    Parameters
    ----------
    faults : sequence of mapping
        The faults of the recall, as stored.
    entries : mapping of int to mapping
        Entries of its lists by key of the certificate.
    links : mapping of int to sequence of mapping
        By the same keys what leads to each; a link from a certificate that is not in `entries` is
        left out.

    Returns
    -------
    networkx.MultiDiGraph
        Certificates by key with `kind` and `entry`, `graph.links.Origin` and `graph.links.State`
        with `kind`; edges have `kind`, those to a certificate `link`, and one of them stands for
        one recorded use. What leads to a certificate that cannot be excluded is of kind "may".
    """
    part = nx.MultiDiGraph()
    part.add_nodes_from((key, {"kind": CERTIFICATE, "entry": one}) for key, one in entries.items())
    for key, one in entries.items():
        kind = MAY if one["class"] == NOT_EXCLUDED else USED
        for link in links.get(key, ()):
            before = _before(part, link, faults)
            if before is not None:
                part.add_edge(before, key, link["use"], kind=kind, link=link)
    return part


def _before(
    part: nx.MultiDiGraph, link: StoredLink, faults: Sequence[Mapping[str, Any]]
) -> State | Origin | None:
    """Add what lies before the certificate of a link; None if its cause is not listed."""
    names, cause = tuple(link["names"]), link["cause"]
    if cause is not None:
        return lead(part, cause, names, cause) if cause in part else None
    origin = _origin(faults[link["fault"]], names)
    part.add_node(origin, kind=FAULT)
    if origin.concerns == METHOD:
        return origin
    if origin.concerns == CERTIFICATE:
        return lead(part, origin, names[1:], origin)
    item = faults[link["fault"]]["item"]
    chain = (item,) if origin.concerns == CHANNEL else (item, *names[1:])
    return lead(part, origin, chain, origin, kind=CONCERNS)


def _origin(fault: Mapping[str, Any], names: Sequence[str]) -> Origin:
    """What a fault is about, told by the fault and what its paths begin with."""
    start = names[0]
    if "method" in fault:
        return Origin(start, METHOD)
    if "certificate" in fault:
        return Origin(start, CERTIFICATE)
    return (
        Origin(start, CHANNEL, fault["channel"])
        if is_channel(names, fault)
        else Origin(start, ITEM)
    )


def affected_part(
    faults: Sequence[Mapping[str, Any]],
    entries: Mapping[int, Entry],
    links: Mapping[int, Sequence[StoredLink]],
) -> nx.MultiDiGraph:
    """Return the graph of a recall's entries; those without a path to the fault are left out.

    Nodes have a `label` and a `kind`: "fault" (with `concerns`), "item" (`item` and its `state`:
    faulty, holding the faulty part, or as calibrated), or "certificate" (`number, revision, issuer,
    item, list, generation, verdict_changes, could_change, at, customer, external`, and `reasons`
    why it cannot be excluded or `doubts` beside its list, joined by commas; what is unknown is left
    out). Edges run from cause to effect and have a `kind`: "concerns", "assigned" (`at` the instant
    of the calibration), "held", "used" or, to a certificate that cannot be excluded, "may"; each of
    the last two stands for one recorded use and carries its `role`, `at`, `until` (the last instant
    of a bare date), `weight` (JSON, where it has one for each point) and `channel`. Where nothing
    is recorded in a role, "may" leads from what is faulty and carries nothing.

    Parameters
    ----------
    faults : sequence of mapping
        The faults of the recall, as stored.
    entries : mapping of int to mapping
        Entries of its lists by key of the certificate, as stored; `performed_us` may be added.
    links : mapping of int to sequence of mapping
        By the same keys what leads to each, as stored.

    Returns
    -------
    networkx.MultiDiGraph
        Nodes and edges in order of their names.
    """
    listed = {key: one for key, one in entries.items() if one.get("reason_paths")}
    found = found_part(faults, listed, links)
    return readable(
        found, lambda key: (certificate_node(identity(listed[key])), _facts(listed[key]))
    )


def readable(
    graph: nx.MultiDiGraph, certificate: Callable[[int], tuple[str, Facts]]
) -> nx.MultiDiGraph:
    """Return a graph by key with nodes and facts that can be read, written and sent.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        As `found_part` or `graph.traceability.reached` gives it.
    certificate : callable
        Name and facts of the certificate with a key.

    Returns
    -------
    networkx.MultiDiGraph
        In order of the names, so that every reading gives the same bytes; the keys of edges are
        their places in that order.
    """
    named: dict[Any, str] = {}
    nodes = []
    for node in graph:
        if isinstance(node, State | Origin):
            made = _state(node, certificate) if isinstance(node, State) else _fault(node)
        else:
            made = certificate(node)
        named[node] = made[0]
        nodes.append(made)
    part = nx.MultiDiGraph()
    part.add_nodes_from(sorted(nodes, key=lambda node: node[0]))
    edges = []
    for before, after, facts in graph.edges(data=True):
        told = _edge_facts(facts)
        if facts["kind"] == ASSIGNED and "at" in (certified := part.nodes[named[before]]):
            told["at"] = certified["at"]
        edges.append((named[before], named[after], told))
    edges.sort(key=lambda edge: (*edge[:2], sorted(edge[2].items())))
    for place, (before, after, facts) in enumerate(edges):
        part.add_edge(before, after, place, **facts)
    return part


def _fault(origin: Origin) -> tuple[str, Facts]:
    facts = {"kind": FAULT, "label": origin.start, "concerns": origin.concerns}
    return f"fault/{_quoted(origin.start)}", facts


def _state(state: State, certificate: Callable[[int], tuple[str, Facts]]) -> tuple[str, Facts]:
    """Name and facts of an item as something left it, or of what held it."""
    source = state.source
    item, *above = state.chain
    name, label = f"item/{_quoted(item)}", item
    facts: Facts = {"kind": ITEM, "label": label, "item": item}
    if isinstance(source, Origin) and source.concerns != CERTIFICATE:
        suffix = "" if source.channel is None else f"/{_quoted(source.channel)}"
        name += f"/faulty{suffix}"
        facts |= {"label": source.start, "state": FAULTY}
    elif source is not None:
        before = _fault(source)[0] if isinstance(source, Origin) else certificate(source)[0]
        name += f"/as/{before.removeprefix('certificate/')}"
        facts["state"] = CALIBRATED
    for one in above:
        name = f"item/{_quoted(one)}/holding/{name.removeprefix('item/')}"
        facts = {"kind": ITEM, "label": one, "item": one, "state": HOLDING}
    if state.channel is not None:
        name = f"channel/{_quoted(state.channel)}/of/{name.removeprefix('item/')}"
        facts |= {"kind": CHANNEL, "label": f"{item}:{state.channel}", "channel": state.channel}
    return name, facts


def _edge_facts(facts: Mapping[str, Any]) -> Facts:
    told: Facts = {"kind": facts["kind"]}
    link = recorded(facts["use"]) if "use" in facts else facts.get("link", {})
    held = facts.get("held")
    if held is not None and held.share is not None:
        told["share"] = text(held.share)
    for name in ("role", "channel"):
        if link.get(name) is not None:
            told[name] = link[name]
    for name, shown in (("at_us", "at"), ("end_us", "until")):
        if link.get(name) is not None:
            told[shown] = text_of(link[name])
    holding = facts.get("holding")
    if holding is not None:
        told["from"] = text_of(holding.start_us)
        if holding.end_us is not None:
            told["until"] = text_of(holding.end_us)
    weight = link.get("weight")
    if weight is not None:
        told["weight"] = weight if isinstance(weight, str) else _json(weight)
    return told


def certificate_node(one: Identity) -> str:
    """Name of the node of a certificate; the same in every recall."""
    parts = [one.issuer, one.number, str(one.revision)]
    return "certificate/" + "/".join(_quoted(part) for part in parts if part)


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


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
        "generation": entry.get("generation"),
        "reasons": ", ".join(entry.get("reasons", ())) or None,
        "doubts": ", ".join(entry.get("doubts", ())) or None,
        "verdict_changes": entry.get("verdict_changes"),
        "could_change": entry.get("could_change"),
        "at": text_of(entry["performed_us"]) if "performed_us" in entry else None,
        "customer": entry.get("customer"),
        "external": entry.get("external"),
        "paths_not_shown": hidden or None,
    }
    return {name: value for name, value in facts.items() if value is not None}


def leading_to(part: Part, node: str) -> set[str]:
    """Return a node of a part and everything that leads to it."""
    return {node, *nx.ancestors(part, node)}


def causes_first(part: Part) -> Iterator[str]:
    """Yield the nodes of a part, each after all that leads to it."""
    nodes: Iterator[str] = nx.topological_sort(part)
    return nodes


def told_together(part: Part, cause: str, effect: str) -> Facts:
    """Return the roles and weights of all uses between two nodes, as one."""
    uses = part.get_edge_data(cause, effect).values()
    joined = {
        name: sorted({one[name] for one in uses if name in one}) for name in ("role", "weight")
    }
    return {name: ", ".join(texts) for name, texts in joined.items() if texts}


def node_link(part: nx.MultiDiGraph) -> Facts:
    """Return the graph in the node-link form, which `networkx.node_link_graph` reads.

    Parameters
    ----------
    part : networkx.MultiDiGraph
        As `affected_part` gives it.

    Returns
    -------
    dict
        `directed`, `multigraph`, `graph`, `nodes` and `edges`.
    """
    data: Facts = nx.node_link_data(part, edges="edges")
    return data


def graphml(part: nx.MultiDiGraph) -> bytes:
    """Return the graph as GraphML; characters that XML cannot hold become U+FFFD.

    Parameters
    ----------
    part : networkx.MultiDiGraph
        As `affected_part` gives it.

    Returns
    -------
    bytes
        UTF-8.
    """
    text = "\n".join(nx.generate_graphml(part))
    head = '<?xml version="1.0" encoding="UTF-8"?>\n'
    return (head + _NOT_IN_XML.sub("&#65533;", text) + "\n").encode()
