"""What a fault reaches: every certificate in exactly one list, with paths, generation and effects.

The engine is given the graph (`graph.traceability`) of the direct users of the faulty items and all
that could follow from them. It judges the direct uses, then goes along the edges of the graph in
order of dependence (one may be reached at several depths), since whether an item passes anything on
depends on its own effect. What each point's effect means for a statement of conformity is not
decided here.

First order: deltas of several uses are added, all paths of one fault being fully correlated.
Several faults walk one after the other and are then joined: their deltas add up, their
uncertainties are kept apart, and a certificate that several of them reach is listed once.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from graph.alternatives import values_of
from graph.corrected import (
    GIVING_BACK,
    gives_back,
    less,
    nothing_left,
    owed,
    taken_before,
)
from graph.effects import Carried, effects_at_points
from graph.faults import Effect, Fault
from graph.links import CONFIRMED, MAY, Link, Path
from graph.lists import (
    AFFECTED,
    EXPOSED,
    INDETERMINATE,
    NO_USE_IN_ROLE,
    RESTS_ON_DOUBT,
    Doubt,
    Judged,
    Judgement,
    judgement,
    list_of,
)
from graph.model import BY_SHARE, SHIELDED, Calibration, Held, Use
from graph.passing import passed_on
from graph.paths import Reasons, joined, reasons
from graph.suspects import (
    CORRECTED,
    NOT_EXPOSED,
    Exposure,
    SuspectWindow,
    concerned,
    expose,
)

if TYPE_CHECKING:  # a first list asks for names of this module and can do without networkx
    from graph.traceability import Graph, Incoming

# Why a certificate is indeterminate for the parts of an assembly that it used.
SHARES, PART = "shares", "part"


class _Edge(NamedTuple):
    """An edge of the graph on which a fault may come to a calibration.

    `held` is the part whose value it is, if it is that of a part; `judged` what was found of the
    certificate `source` that gave the value, `place` which of the uses it is.
    """

    source: int
    names: Path
    use: Use
    place: int
    held: Held | None
    judged: Judged
    assigned: bool


@dataclass(slots=True)
class _Walk:
    """One fault's way through the calibrations, in order of dependence.

    Effects that are passed on are one object if they are equal: most of what rests on a fault has
    the same effect, and is then seen to at a glance.
    """

    place: int
    suspect: SuspectWindow
    into: Mapping[int, Incoming]
    carriers: Container[int]
    gaps: Container[int] = frozenset()
    judged: dict[int, Judged] = field(default_factory=dict)
    known: dict[Effect, Effect] = field(default_factory=dict)
    # The looks before this one, if this is the way of what they took and is given back.
    looks: frozenset[str] = frozenset()
    # Certificates that cannot be excluded and assign a value: what their users' paths begin with.
    doubtful: dict[int, Reasons] = field(default_factory=dict)


# A fault on its way, and how it met one calibration.
_Met = tuple[_Walk, Exposure]


def assess(
    suspects: Sequence[SuspectWindow],
    calibrations: Iterable[Calibration],
    graph: Graph | None = None,
    gaps: Sequence[Container[int]] = (),
    looks: frozenset[str] = frozenset(),
) -> Iterator[Judgement]:
    """Judge calibrations one by one; those that no fault ever met give no judgement.

    Parameters
    ----------
    suspects : sequence of SuspectWindow
        The faults, each with its window; their effects add up.
    calibrations : iterable of Calibration
        The direct users of the faulty items and whatever rests on a suspect one, each after those
        it rests on (`graph.traceability.in_order_of_dependence`). Of each only what it passes on is
        kept, so that a recall of any size can be read and answered piece by piece.
    graph : networkx.MultiDiGraph, optional
        That of these calibrations (`graph.traceability.reached`), which needs no results; made here
        unless given.
    gaps : sequence of container of int
        For each fault, if known, the keys of the calibrations whose records name nothing in a role
        that the faulty item served.
    looks : frozenset of str
        Numbers of the recalls at the same fault: what they took from a revision, and what no fault
        here speaks for any more, is given back. Where that can be
        (`graph.corrected.gives_back`), the effects have one more, as from a fault `GIVING_BACK`;
        of true_force_offset it is passed on as a share of the force.

    Yields
    ------
    Judgement
        In the order of the calibrations.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from fractions import Fraction
    >>> from graph import ForceError, Moment, Point
    >>> fault = ForceError(item="REF", start_us=0, end_us=9, delta_rel=Fraction("0.001"))
    >>> at, force, size = Moment(5, 5), Decimal(10), Fraction(1000)
    >>> point = Point("1", "single", "kN", False, force, size, Decimal(0), None, Decimal(2))
    >>> used = Use("REF", "force_reference", at)
    >>> one = Calibration(1, "C-1", 0, "issued", "WS-1", None, at, uses=(used,), points=(point,))
    >>> [found] = assess([SuspectWindow(fault, fault.window())], [one])
    >>> found.list_name, found.why.paths, found.effects[0][0].delta
    ('affected', (('REF', 'C-1'),), Fraction(1, 1000))
    """
    from graph.traceability import carriers, incoming, reached

    if graph is None:
        calibrations = list(calibrations)
        graph = reached(calibrations)
    carry = carriers(graph)
    missing = gaps or [frozenset[int]()] * len(suspects)
    walks = [
        _Walk(place, suspect, incoming(graph), carry, some)
        for place, (suspect, some) in enumerate(zip(suspects, missing, strict=True))
    ]
    if gives_back(looks, suspects):
        walks.append(_Walk(len(walks), GIVING_BACK, incoming(graph), carry, looks=looks))
    faults = [one.suspect.fault for one in walks]
    for calibration in calibrations:
        met = [
            (one, expose(calibration, one.suspect))
            if one.suspect.met_by(calibration)
            else (one, NOT_EXPOSED)
            for one in walks
        ]
        judged = [_found(walk, calibration, exposure, met) for walk, exposure in met]
        doubts = _doubts(met, calibration, judged)
        found = judgement(calibration, faults, judged, doubts)
        if found is not None:
            yield found


def _found(
    walk: _Walk, calibration: Calibration, exposure: Exposure, met: Sequence[_Met]
) -> Judged | frozenset[str]:
    """What one fault, or what is given back, does to one calibration."""
    if walk.suspect is GIVING_BACK:
        return _give_back(walk, calibration, exposure, met)
    if exposure is NOT_EXPOSED:
        # Of several faults mostly one reaches a calibration; the others are to be seen off soon.
        for _, source, _ in walk.into[calibration.key]:
            if source in walk.judged:
                break
        else:
            return exposure.cleared
    return _judge(walk, calibration, exposure, met)


def _doubts(
    met: Sequence[_Met], calibration: Calibration, judged: Sequence[Judged | frozenset[str]]
) -> list[Doubt]:
    """Why the faults cannot be excluded, each for itself."""
    settled = True  # most uses took the value of their item and nothing else
    for use in calibration.uses:
        if use.doubts or use.ranked or use.held:
            settled = False
            break
    doubts = []
    for (walk, exposure), one in zip(met, judged, strict=True):
        if not settled or walk.doubtful or calibration.key in walk.gaps:
            doubt = _doubt(walk, calibration, exposure, one)
            if doubt is not None:
                doubts.append(doubt)
    return doubts


def _judge(
    walk: _Walk, calibration: Calibration, exposure: Exposure, met: Sequence[_Met]
) -> Judged | frozenset[str]:
    """What one fault does to one calibration, or the reasons for which it does nothing."""
    edges = _edges(walk, calibration, exposure)
    if not edges and not exposure.paths:
        return exposure.cleared
    through = [edge for edge in edges if edge.judged.list_name != EXPOSED]
    if not exposure.paths and not through:
        return exposure.cleared
    fault = walk.suspect.fault
    carried = _carried(edges)
    effects = effects_at_points(fault, calibration, exposure.uses, carried)
    if calibration.taken:
        taken = taken_before(walk.suspect, _reaching(met, calibration), calibration)
        if taken is not None:
            effects = less(fault, effects, taken, calibration.points)
            if any(map(any, taken)) and nothing_left(fault, effects):
                return frozenset((CORRECTED,))  # and it passes nothing on
    list_name = list_of(fault, effects)
    if not effects and any(
        use.weight != 0 for use in (*exposure.uses, *(one.use for one in carried))
    ):
        list_name = INDETERMINATE  # something reached it, and there is no result to move
    # A certificate leads on once for each item, however often that was used.
    on = {(edge.source, edge.names): (edge.names, edge.judged.why) for edge in through}.values()
    why = reasons(calibration.number, exposure.paths, [*on])
    cancels = list_name == EXPOSED and _cancels(fault, calibration, exposure.uses, carried)
    reason = _why_unknown(exposure, edges) if list_name == INDETERMINATE else None
    links = [Link(walk.place, None, names, place) for place, names in exposure.ways]
    links += [Link(walk.place, edge.source, edge.names, edge.place) for edge in through]
    _pass_on(walk, calibration, list_name, why, effects)
    return Judged(list_name, why, effects, None, cancels, reason, tuple(links))


def _give_back(
    walk: _Walk, calibration: Calibration, exposure: Exposure, met: Sequence[_Met]
) -> Judged | frozenset[str]:
    """What was taken from a calibration, or from what it rests on, and no fault speaks for.

    Its paths are those on which what was faulty then had come to it.
    """
    edges = _edges(walk, calibration, exposure)
    found = owed(walk.looks, _reaching(met, calibration), calibration)
    if not edges and found is None:
        return frozenset()
    fault = walk.suspect.fault
    effects = effects_at_points(fault, calibration, (), _carried(edges))
    effects = less(fault, effects, found.removed, calibration.points) if found else effects
    if nothing_left(fault, effects):
        return frozenset() if found is None else frozenset((CORRECTED,))
    list_name = list_of(fault, effects)
    name = None if found is None else found.unclaimed
    items = [other.suspect.fault.item for other, _ in met]
    links = [Link(0, edge.source, edge.names, edge.place) for edge in edges]
    on = {(edge.source, edge.names): (edge.names, edge.judged.why) for edge in edges}.values()
    whys = [reasons(calibration.number, (), [*on])] if edges else []
    if found is not None:
        whys.append(found.why)
    if name is not None:
        links.insert(0, Link(items.index(name) if name in items else 0, None, (name,), None))
    why = joined(whys)
    given = name is not None or any(edge.judged.given_back for edge in edges)
    _pass_on(walk, calibration, list_name, why, effects, given_back=given)
    return Judged(list_name, why, effects, None, links=tuple(links), given_back=given)


def _pass_on(
    walk: _Walk,
    calibration: Calibration,
    list_name: str,
    why: Reasons,
    effects: Sequence[Effect],
    *,
    given_back: bool = False,
) -> None:
    if calibration.key not in walk.carriers:
        return
    passed = None
    if calibration.assigns_value and list_name in (AFFECTED, INDETERMINATE):
        known = [walk.known.setdefault(effect, effect) for effect in effects]
        passed = passed_on(calibration, known, by_force=walk.suspect.fault.by_force)
    walk.judged[calibration.key] = Judged(list_name, why, (), passed, given_back=given_back)


def _reaching(met: Sequence[_Met], calibration: Calibration) -> list[SuspectWindow]:
    """The faults that reach a calibration, itself or through what it rests on."""
    return [
        walk.suspect
        for walk, exposure in met
        if exposure.paths
        or any(one.judged.list_name != EXPOSED for one in _edges(walk, calibration, exposure))
    ]


def _edges(walk: _Walk, calibration: Calibration, exposure: Exposure) -> list[_Edge]:
    """Edges from certificates that carry the fault or expose to it.

    Where the fault itself speaks for a use, the value in force adds nothing.
    """
    found: list[_Edge] = []
    for (names, source, _), edges in walk.into[calibration.key].items():
        judged = walk.judged.get(source)
        if judged is None:
            continue
        for edge in edges.values():
            kind, use, held = edge["kind"], edge["use"], edge.get("held")
            if kind == MAY or (held is not None and held.bearing == SHIELDED):
                continue
            if exposure.spoken and exposure.speaks_for(use, () if held is None else names):
                continue
            place, assigned = edge["place"], kind != CONFIRMED
            found.append(_Edge(source, names, use, place, held, judged, assigned))
    return found


def _carried(edges: Sequence[_Edge]) -> list[Carried]:
    """Uses whose value in force, or that of a part, carries an effect, with what it carries."""
    found = []
    for edge in edges:
        held, passed = edge.held, edge.judged.passed
        if passed is None or not edge.assigned:
            continue
        if held is None:
            found.append(Carried(edge.use, passed))
        elif held.bearing == BY_SHARE and held.share is not None:
            found.append(Carried(edge.use, passed, held.share))
        else:
            found.append(Carried(edge.use, None))
    return found


def _why_unknown(exposure: Exposure, edges: Sequence[_Edge]) -> str | None:
    """Whether it is for the parts of a used assembly that nobody can say what the fault does."""
    if exposure.unshared:
        return SHARES
    parts = [one.held for one in edges if one.held is not None and one.judged.passed is not None]
    if any(held.unshared for held in parts):
        return SHARES
    weighed = all(use.share is not None for use in exposure.uses)
    weighed = weighed and all(held.bearing == BY_SHARE for held in parts)
    return None if weighed else PART


def _cancels(
    fault: Fault, calibration: Calibration, uses: Sequence[Use], carried: Sequence[Carried]
) -> bool:
    """Whether some way has an effect of its own, though all of them together have none."""
    alone = [effects_at_points(fault, calibration, [use], []) for use in uses]
    alone += [effects_at_points(fault, calibration, [], [one]) for one in carried]
    return any(list_of(fault, effects) == AFFECTED for effects in alone)


def _doubt(
    walk: _Walk,
    calibration: Calibration,
    exposure: Exposure,
    judged: Judged | frozenset[str],
) -> Doubt | None:
    """Why the fault cannot be excluded, whether or not it is found in another way."""
    found: set[str] = set()
    links: list[Link] = []
    if calibration.key in walk.gaps:
        found.add(NO_USE_IN_ROLE)
        links.append(Link(walk.place, None, (walk.suspect.fault.name,), None))
    through: list[tuple[Path, Reasons]] = []
    for place, use in enumerate(calibration.uses):
        suspect = any(use is met or use == met for met, _ in exposure.spoken)
        for items, source, doubts in values_of(use, calibration.points):
            if suspect and walk.suspect.fault.item in items:
                continue  # the fault itself speaks for that
            for key, reason in doubts:
                if key in walk.suspect.fault.certificates:
                    if concerned(use, calibration, walk.suspect):
                        found.add(reason)
                        names = walk.suspect.fault.item, *items
                        links.append(Link(walk.place, None, names, place))
                    continue
                why = _would_list(walk, key)
                if why is not None:
                    found.add(reason)
                    through.append((items, why))
                    links.append(Link(walk.place, key, items, place))
            if source is not None and source in walk.doubtful:
                found.add(RESTS_ON_DOUBT)
                through.append((items, walk.doubtful[source]))
                links.append(Link(walk.place, source, items, place))
    if not found:
        return None
    direct = [(*link.names, calibration.number) for link in links if link.cause is None]
    why = reasons(calibration.number, direct, through)
    listed = isinstance(judged, Judged)
    if calibration.assigns_value and calibration.key in walk.carriers and not listed:
        walk.doubtful[calibration.key] = why
    return Doubt(frozenset(found), why, tuple(links))


def _would_list(walk: _Walk, key: int) -> Reasons | None:
    """Paths to a certificate whose users are listed, or cannot be excluded either."""
    judged = walk.judged.get(key)
    if judged is not None and judged.passed is not None:
        return judged.why
    return walk.doubtful.get(key)
