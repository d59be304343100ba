"""Where do the parts of a recall stand in its picture? Columns, from the fault rightwards.

Choice: one column for each generation and one more for what cannot be excluded, which has none; in
it the certificates by the middle of what leads to them, which keeps lines short. A column with more
than `MOST_DRAWN` certificates draws those whose statement changes one by one, as many as there is
room for, and counts the rest in stacks of one list and outcome.

Not checked: that lines do not cross.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from graph.affected import FAULTY, REACHED, Part, causes_first
from graph.links import CERTIFICATE, FAULT, ITEM

MOST_DRAWN = 60
CHANGES, COULD_CHANGE, STAYS = "changes", "could change", "stays"
_OUTCOMES = (CHANGES, COULD_CHANGE, STAYS)


@dataclass(eq=False, slots=True)
class Mark:
    """One certificate, or a stack of `count`; in a column of origins what the fault concerns."""

    name: str
    label: str
    item: str = ""
    list_name: str = ""
    outcome: str = STAYS
    count: int = 1
    stacked: bool = False


@dataclass(slots=True)
class Column:
    """One column with its heading and its marks from the top down."""

    heading: str
    origin: bool
    marks: list[Mark] = field(default_factory=list)
    certificates: int = 0
    changes: int = 0


@dataclass(slots=True)
class Layout:
    """Columns from left to right, and the marks joined by a line, each pair once.

    `marks` gives the mark of every node that has one, alone or in a stack.
    """

    columns: list[Column]
    links: list[tuple[Mark, Mark]]
    lists: Counter[str]
    changes: int
    marks: Mapping[str, Mark]


def layout(part: Part) -> Layout:
    """Return the places of an affected part (`graph.affected.affected_part`)."""
    causes = {node: list(_causes(part, node)) for node in part if _is_drawn(part, node)}
    marks: dict[str, Mark] = {}
    heights: dict[Mark, float] = {}
    columns: list[Column] = []
    for column, nodes in (*_origins(part, causes), *_generations(part)):
        nodes = sorted(nodes, key=lambda node: (_middle(causes[node], marks, heights), node))
        made = _origin_marks(part, nodes) if column.origin else _marks(part, nodes)
        marks |= made
        column.marks = list(dict.fromkeys(made.values()))
        column.marks.sort(key=lambda mark: mark.stacked)  # stacks below
        for place, mark in enumerate(column.marks):
            heights[mark] = (place + 0.5) / len(column.marks)
        columns.append(column)
    pairs = {
        (marks[cause], marks[node]): None for node, before in causes.items() for cause in before
    }
    facts = [facts for _, facts in part.nodes(data=True) if facts["kind"] == CERTIFICATE]
    changes = sum(bool(one.get("verdict_changes")) for one in facts)
    return Layout(columns, list(pairs), Counter(one["list"] for one in facts), changes, marks)


def _is_drawn(part: Part, node: str) -> bool:
    """Whether a node has a mark: an item does only on the way from the fault to generation 1."""
    facts = part.nodes[node]
    if facts["kind"] == CERTIFICATE:
        return True
    before = [part.nodes[one]["kind"] for one in part.predecessors(node)]
    if facts["kind"] == FAULT:  # the faulty item stands for the fault, where it is an item
        return not any(part.nodes[one].get("state") == FAULTY for one in part.successors(node))
    return CERTIFICATE not in before


def _causes(part: Part, node: str) -> Iterator[str]:
    """What has a mark and leads to a node without another mark between."""
    for before in part.predecessors(node):
        if _is_drawn(part, before):
            yield before
        elif part.nodes[before]["kind"] == ITEM:
            yield from part.predecessors(before)


def _origins(part: Part, causes: Mapping[str, Sequence[str]]) -> Iterator[tuple[Column, list[str]]]:
    """The columns left of the certificates: what is faulty, and what held or carried it."""
    depths: dict[str, int] = {}
    for node in causes_first(part):
        if node in causes and part.nodes[node]["kind"] != CERTIFICATE:
            depths[node] = max((depths[one] + 1 for one in causes[node]), default=0)
    for depth in range(max(depths.values(), default=-1) + 1):
        nodes = [node for node in causes if depths.get(node) == depth]
        holding = any("/holding/" in node for node in nodes)
        heading = "faulty" if not depth else "which was in" if holding else "used by"
        yield Column(heading, True), nodes


def _generations(part: Part) -> Iterator[tuple[Column, list[str]]]:
    found: dict[int | None, list[str]] = {}
    for node, facts in part.nodes(data=True):
        if facts["kind"] == CERTIFICATE:
            found.setdefault(facts.get("generation"), []).append(node)
    for generation in sorted(found, key=lambda one: (one is None, one)):
        nodes = found[generation]
        heading = "cannot be excluded" if generation is None else f"generation {generation}"
        column = Column(heading, False, certificates=len(nodes))
        column.changes = sum(bool(part.nodes[node].get("verdict_changes")) for node in nodes)
        yield column, nodes


def _middle(
    causes: Sequence[str], marks: Mapping[str, Mark], heights: Mapping[Mark, float]
) -> float:
    """Mean height of what leads here from columns that have their places."""
    known = [heights[marks[cause]] for cause in causes if cause in marks]
    return sum(known) / len(known) if known else 0.0


def _origin_marks(part: Part, nodes: Sequence[str]) -> dict[str, Mark]:
    return {node: Mark(node, part.nodes[node]["label"]) for node in nodes}


def _marks(part: Part, nodes: Sequence[str]) -> dict[str, Mark]:
    """Marks of one generation; what there is no room for goes onto stacks."""
    single = {node: _mark(part, node) for node in nodes}
    if len(nodes) <= MOST_DRAWN:
        return single
    telling = [node for node in nodes if single[node].outcome != STAYS]
    telling.sort(key=lambda node: _OUTCOMES.index(single[node].outcome))
    drawn = set(telling[:MOST_DRAWN])
    stacks: dict[tuple[int, int], list[str]] = {}
    for node in nodes:
        if node not in drawn:
            mark = single[node]
            key = REACHED.index(mark.list_name), _OUTCOMES.index(mark.outcome)
            stacks.setdefault(key, []).append(node)
    found = {node: single[node] for node in nodes if node in drawn}
    generation = part.nodes[nodes[0]].get("generation", "none")
    for key in sorted(stacks):
        members = stacks[key]
        first = single[members[0]]
        name = f"stack/{generation}/{key[0]}/{key[1]}"
        stack = Mark(name, "", "", first.list_name, first.outcome, len(members), stacked=True)
        found |= dict.fromkeys(members, stack)
    return found


def _mark(part: Part, node: str) -> Mark:
    facts = part.nodes[node]
    outcome = STAYS
    if facts.get("verdict_changes"):
        outcome = CHANGES
    elif facts.get("could_change"):
        outcome = COULD_CHANGE
    return Mark(node, facts["label"], facts["item"], facts["list"], outcome)
