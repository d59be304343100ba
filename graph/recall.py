"""What a fault reaches: every certificate in exactly one list, with paths, generation and effects.

The engine is given the direct users of the faulty items and all that could follow from them. It
judges the direct uses, then evaluates the calibrations in order of dependence (one may be reached
at several depths), since whether an item passes anything on depends on its own effect. What each
point's effect means for a statement of conformity is not decided here.

First order: deltas of several uses are added, all paths of one fault being fully correlated.
Several faults walk one after the other and are then joined: their deltas add up, their
uncertainties are kept apart, and a certificate that several of them reach is listed once.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from graphlib import CycleError, TopologicalSorter
from typing import NamedTuple

from graph.faults import NO_EFFECT, UNKNOWN, Effect, Fault
from graph.model import ONE, Calibration, Holder, Point, Use, Window
from graph.passing import Passed, passed_on
from graph.paths import Reasons, joined, reasons
from graph.suspects import CLEARED_REASONS, NOT_EXPOSED, Exposure, expose

AFFECTED = "affected"
EXPOSED = "exposed_zero_effect"
INDETERMINATE = "indeterminate"
TRACED = "traced_not_recalled"
CLEARED = "cleared"
# What the engine finds; a recall adds what the records cannot exclude.
FOUND = (AFFECTED, EXPOSED, INDETERMINATE, TRACED, CLEARED)
NOT_EXCLUDED = "cannot_be_excluded"
LISTS = (*FOUND, NOT_EXCLUDED)


class CyclicTrace(ValueError):
    """A calibration rests on itself; `circle` holds the keys."""

    def __init__(self, circle: Sequence[int]) -> None:
        super().__init__(f"a calibration rests on itself: {circle}")
        self.circle = tuple(circle)


@dataclass(frozen=True)  # without slots: a cached property needs a dictionary
class Case:
    """One fault with the window found for it and the assemblies that ever held the item."""

    fault: Fault
    window: Window
    holders: tuple[Holder, ...] = ()

    @cached_property
    def names(self) -> frozenset[str]:
        """Items by which a calibration can meet the fault directly."""
        return frozenset((self.fault.item, *(holder.assembly for holder in self.holders)))

    def met_by(self, calibration: Calibration) -> bool:
        """Whether a calibration used anything by which the fault is met directly, at any time."""
        if self.fault.certificate is not None:
            return any(use.source == self.fault.certificate for use in calibration.uses)
        return any(use.item in self.names for use in calibration.uses)


class Finding(NamedTuple):
    """One certificate in one list.

    `effects` holds, for each point of the calibration, one `Effect` per case. `reason` is why the
    certificate is traced or cleared rather than recalled.
    """

    calibration: Calibration
    list_name: str
    why: Reasons | None = None
    effects: tuple[tuple[Effect, ...], ...] = ()
    reason: str | None = None


class _Judged(NamedTuple):
    """What one fault does to one calibration that it reaches."""

    list_name: str
    why: Reasons
    effects: tuple[Effect, ...]
    passed: Passed | None


@dataclass(slots=True)
class _Walk:
    """One fault's way through the calibrations, in order of dependence."""

    case: Case
    carriers: Container[int] | None
    judged: dict[int, _Judged] = field(default_factory=dict)


def assess(
    cases: Sequence[Case],
    calibrations: Iterable[Calibration],
    carriers: Container[int] | None = None,
) -> Iterator[Finding]:
    """Judge calibrations one by one; those that no fault ever met give no finding.

    Parameters
    ----------
    cases
        The faults, each with its window; their effects add up.
    calibrations
        The direct users of the faulty items and whatever rests on a suspect one, each after those
        it rests on (`in_order_of_dependence`). Of each only what it passes on is kept, so that a
        recall of any size can be read and answered piece by piece.
    carriers
        Keys of the calibrations that others rest on, if known; nothing is kept of the rest.
    """
    walks = [_Walk(case, carriers) for case in cases]
    for calibration in calibrations:
        judged = [_judge(walk, calibration) for walk in walks]
        finding = _finding(cases, calibration, judged)
        if finding is not None:
            yield finding


def in_order_of_dependence(rests_on: Mapping[int, Collection[int]]) -> list[int]:
    """Order keys so that each comes after those it rests on; links out of the mapping are ignored.

    Keys given in order of time mostly are in this order already, which is then kept.

    Raises
    ------
    CyclicTrace
        If one rests on itself.
    """
    seen: set[int] = set()
    for key, below in rests_on.items():
        if any(link not in seen and link in rests_on for link in below):
            break
        seen.add(key)
    else:
        return list(rests_on)
    inside = {key: [n for n in below if n in rests_on] for key, below in rests_on.items()}
    try:
        return list(TopologicalSorter(inside).static_order())
    except CycleError as error:
        raise CyclicTrace(error.args[1]) from error


def _judge(walk: _Walk, calibration: Calibration) -> _Judged | frozenset[str]:
    """What one fault does to one calibration, or the reasons for which it does nothing."""
    case = walk.case
    exposure = NOT_EXPOSED
    if case.met_by(calibration):
        exposure = expose(calibration, case.fault, case.window, case.holders)
    through = _ways_on(walk, calibration, exposure)
    if not exposure.paths and not through:
        return exposure.cleared
    carried = _carried(walk, calibration, exposure)
    effects = _effects(case.fault, calibration, exposure.uses, carried)
    list_name = _list_of(effects)
    if not effects and _weighs([*exposure.uses, *(use for use, _ in carried)]):
        list_name = INDETERMINATE  # something reached it, and there is no result to move
    why = reasons(calibration.number, exposure.paths, through)
    judged = _Judged(list_name, why, effects, None)
    if walk.carriers is None or calibration.key in walk.carriers:
        passed = None
        if calibration.assigns_value and list_name in (AFFECTED, INDETERMINATE):
            passed = passed_on(calibration, effects)
        walk.judged[calibration.key] = _Judged(list_name, why, (), passed)
    return judged


def _ways_on(
    walk: _Walk, calibration: Calibration, exposure: Exposure
) -> list[tuple[str, Reasons]]:
    """Certificates this one rests on that carry the fault or expose to it, each once an item.

    Where the fault itself speaks for a use, the value in force adds nothing.
    """
    ways: dict[tuple[int, str], Reasons] = {}
    for use in calibration.uses:
        for link in (use.source, use.evidence):
            judged = None if link is None else walk.judged.get(link)
            if link is None or judged is None or judged.list_name == EXPOSED:
                continue
            if use not in exposure.uses:
                ways[link, use.item] = judged.why
    return [(item, why) for (_, item), why in ways.items()]


def _carried(walk: _Walk, calibration: Calibration, exposure: Exposure) -> list[tuple[Use, Passed]]:
    """Uses whose value in force carries an effect, with what it carries."""
    found = []
    for use in calibration.uses:
        judged = None if use.source is None else walk.judged.get(use.source)
        if judged is not None and judged.passed is not None and use not in exposure.uses:
            found.append((use, judged.passed))
    return found


def _effects(
    fault: Fault,
    calibration: Calibration,
    suspect: Sequence[Use],
    carried: Sequence[tuple[Use, Passed]],
) -> tuple[Effect, ...]:
    """Effect at each point; worked out once where nothing in it depends on the point."""
    uniform = all(use.everywhere is not None for use in (*suspect, *(use for use, _ in carried)))
    uniform = uniform and all(passed.constant is not None for _, passed in carried)
    moving = [point for point in calibration.points if not point.at_zero]
    if uniform and moving and (fault.uniform or not suspect):
        same = _effect(fault, calibration, moving[0], suspect, carried)
        return tuple(NO_EFFECT if point.at_zero else same for point in calibration.points)
    return tuple(
        NO_EFFECT if point.at_zero else _effect(fault, calibration, point, suspect, carried)
        for point in calibration.points
    )


def _effect(
    fault: Fault,
    calibration: Calibration,
    point: Point,
    suspect: Sequence[Use],
    carried: Sequence[tuple[Use, Passed]],
) -> Effect:
    """Effect at one point: the suspect uses, and what the other items carry."""
    found = fault.effect(suspect, calibration, point) if suspect else NO_EFFECT
    for use, passed in carried:
        if found.delta is None:
            return UNKNOWN
        weight = use.weight_at(point.key)
        if weight:
            constant = passed.constant
            effect = passed.at(point.force_n) if constant is None else constant
            found = _added(found, effect, weight)
    return found


def _added(found: Effect, effect: Effect, weight: Fraction) -> Effect:
    """Add what a used item carries; a path counts only where its effect is not zero."""
    if effect.delta is None or found.delta is None:
        return UNKNOWN
    if not effect.delta:
        return found
    if found is NO_EFFECT and weight is ONE:
        return effect
    return Effect(found.delta + weight * effect.delta, found.weight + weight * effect.weight)


def _weighs(uses: Sequence[Use]) -> bool:
    return any(use.weight != 0 for use in uses)


def _list_of(effects: Sequence[Effect]) -> str:
    """List of a calibration with these effects of one fault at its points."""
    found = EXPOSED
    for effect in effects:
        if effect.delta is None:
            return INDETERMINATE
        if effect.delta:
            found = AFFECTED
    return found


def _joint_list_of(cases: Sequence[Case], effects: Sequence[Sequence[Effect]]) -> str:
    """List under several faults, whose known effects may cancel each other."""
    if any(effect.delta is None for at_point in effects for effect in at_point):
        return INDETERMINATE
    return AFFECTED if any(_is_shifted(cases, at_point) for at_point in effects) else EXPOSED


def _is_shifted(cases: Sequence[Case], at_point: Sequence[Effect]) -> bool:
    known, bounded = Fraction(0), False
    for case, effect in zip(cases, at_point, strict=True):
        if effect.delta is not None and case.fault.bounded:
            bounded = bounded or effect.delta != 0
        elif effect.delta is not None:
            known += effect.delta
    return bounded or known != 0


def _finding(
    cases: Sequence[Case], calibration: Calibration, judged: Sequence[_Judged | frozenset[str]]
) -> Finding | None:
    """What all faults together do to one calibration."""
    reached = [one for one in judged if isinstance(one, _Judged)]
    if not reached:
        cleared = {why for one in judged if isinstance(one, frozenset) for why in one}
        return _clearance(calibration, cleared)
    why = joined([one.why for one in reached])
    if calibration.status != "issued":
        return Finding(calibration, TRACED, why, reason=calibration.status)
    if len(judged) == 1:
        only = reached[0]
        return Finding(calibration, only.list_name, why, tuple((e,) for e in only.effects))
    effects = tuple(
        tuple(one.effects[place] if isinstance(one, _Judged) else NO_EFFECT for one in judged)
        for place in range(len(calibration.points))
    )
    list_name = _joint_list_of(cases, effects)
    if any(one.list_name == INDETERMINATE for one in reached):
        list_name = INDETERMINATE
    return Finding(calibration, list_name, why, effects)


def _clearance(calibration: Calibration, reasons_found: set[str]) -> Finding | None:
    if not reasons_found:
        return None
    if calibration.status != "issued":
        reasons_found.add("status")
    reason = min(reasons_found, key=CLEARED_REASONS.index)
    return Finding(calibration, CLEARED, reason=reason)


def rank(finding: Finding) -> tuple[int, str, int]:
    """Place of a finding in its list: generation, certificate, revision."""
    generation = 0 if finding.why is None else finding.why.generation
    calibration = finding.calibration
    return generation, calibration.number, calibration.revision
