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

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from graphlib import CycleError, TopologicalSorter

from graph.faults import NO_EFFECT, UNKNOWN, Effect, Fault
from graph.model import Calibration, Holder, Point, Use, Window
from graph.passing import Passed, passed_on
from graph.paths import Reasons, joined, reasons
from graph.suspects import CLEARED_REASONS, Exposure, expose

AFFECTED = "affected"
EXPOSED = "exposed_zero_effect"
INDETERMINATE = "indeterminate"
TRACED = "traced_not_recalled"
CLEARED = "cleared"
LISTS = (AFFECTED, EXPOSED, INDETERMINATE, TRACED, CLEARED)


class CyclicTrace(ValueError):
    """A calibration rests on itself; the message shows the circle."""


@dataclass(frozen=True, slots=True)
class Case:
    """One fault with the window found for it and the assemblies that ever held the item."""

    fault: Fault
    window: Window
    holders: tuple[Holder, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """One certificate in one list.

    `effects` holds, for each point of the calibration, one `Effect` per case. `reason` is why the
    certificate is traced or cleared rather than recalled.
    """

    calibration: Calibration
    list_name: str
    why: Reasons | None = None
    effects: tuple[tuple[Effect, ...], ...] = ()
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class _Judged:
    """What one fault does to one calibration that it reaches."""

    list_name: str
    why: Reasons
    effects: tuple[Effect, ...]
    passed: Passed | None


@dataclass(slots=True)
class _Walk:
    """One fault's way through the calibrations, in order of dependence."""

    case: Case
    judged: dict[int, _Judged] = field(default_factory=dict)
    cleared: dict[int, set[str]] = field(default_factory=dict)


def assess(cases: Sequence[Case], calibrations: Mapping[int, Calibration]) -> list[Finding]:
    """Judge every calibration given; those that no fault ever met are in no list.

    Parameters
    ----------
    cases
        The faults, each with its window; their effects add up.
    calibrations
        By key: the direct users of the faulty items, and whatever rests on a suspect one.

    Returns
    -------
    list of Finding
        Ordered by list, generation, certificate, revision.

    Raises
    ------
    CyclicTrace
        If a calibration rests on itself.
    """
    order = _in_order_of_dependence(calibrations)
    walks = [_Walk(case) for case in cases]
    for walk in walks:
        for key in order:
            _judge(walk, calibrations[key])
    findings = (_finding(calibrations[key], walks) for key in order)
    return sorted((found for found in findings if found is not None), key=_rank)


def _in_order_of_dependence(calibrations: Mapping[int, Calibration]) -> list[int]:
    before = {
        key: {
            link
            for use in calibration.uses
            for link in (use.source, use.evidence)
            if link is not None and link in calibrations
        }
        for key, calibration in calibrations.items()
    }
    try:
        return list(TopologicalSorter(before).static_order())
    except CycleError as error:
        circle = " <- ".join(calibrations[key].number for key in error.args[1])
        raise CyclicTrace(f"a calibration rests on itself: {circle}") from error


def _judge(walk: _Walk, calibration: Calibration) -> None:
    case = walk.case
    exposure = expose(calibration, case.fault, case.window, case.holders)
    through = _ways_on(walk, calibration, exposure)
    if exposure.cleared:
        walk.cleared[calibration.key] = exposure.cleared
    if not exposure.paths and not through:
        return
    carried = list(_carried(walk, calibration, exposure))
    effects = tuple(
        _effect(case.fault, calibration, point, exposure.uses, carried)
        for point in calibration.points
    )
    list_name = _list_of([case], [(effect,) for effect in effects])
    if not effects and _weighs([*exposure.uses, *(use for use, _ in carried)]):
        list_name = INDETERMINATE  # something reached it, and there is no result to move
    passed = None
    if calibration.assigns_value and list_name in (AFFECTED, INDETERMINATE):
        passed = passed_on(calibration, effects)
    why = reasons(calibration.number, exposure.paths, through)
    walk.judged[calibration.key] = _Judged(list_name, why, effects, passed)


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


def _carried(
    walk: _Walk, calibration: Calibration, exposure: Exposure
) -> Iterator[tuple[Use, Passed]]:
    for use in calibration.uses:
        judged = None if use.source is None else walk.judged.get(use.source)
        if judged is not None and judged.passed is not None and use not in exposure.uses:
            yield use, judged.passed


def _effect(
    fault: Fault,
    calibration: Calibration,
    point: Point,
    suspect: Sequence[Use],
    carried: Sequence[tuple[Use, Passed]],
) -> Effect:
    """Effect at one point: the suspect uses, and what the other items carry."""
    if point.force_n == 0:
        return NO_EFFECT
    own = fault.effect(suspect, calibration, point)
    if own.delta is None:
        return UNKNOWN
    total, weights = own.delta, own.weight
    for use, passed in carried:
        weight = use.weight_at(point.key)
        if weight == 0:
            continue
        effect = passed.at(point.force_n)
        if effect.delta is None:
            return UNKNOWN
        if effect.delta != 0:
            total += weight * effect.delta
            weights += weight * effect.weight
    return Effect(total, weights)


def _weighs(uses: Sequence[Use]) -> bool:
    return any(use.weight != 0 for use in uses)


def _list_of(cases: Sequence[Case], effects: Sequence[Sequence[Effect]]) -> str:
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


def _finding(calibration: Calibration, walks: Sequence[_Walk]) -> Finding | None:
    """What all faults together do to one calibration."""
    found = [walk.judged.get(calibration.key) for walk in walks]
    reached = [judged for judged in found if judged is not None]
    if not reached:
        return _clearance(calibration, walks)
    why = joined([judged.why for judged in reached])
    if calibration.status != "issued":
        return Finding(calibration, TRACED, why, reason=calibration.status)
    effects = tuple(
        tuple(NO_EFFECT if judged is None else judged.effects[place] for judged in found)
        for place in range(len(calibration.points))
    )
    list_name = _list_of([walk.case for walk in walks], effects)
    if any(judged.list_name == INDETERMINATE for judged in reached):
        list_name = INDETERMINATE
    return Finding(calibration, list_name, why, effects)


def _clearance(calibration: Calibration, walks: Sequence[_Walk]) -> Finding | None:
    found = {reason for walk in walks for reason in walk.cleared.get(calibration.key, ())}
    if not found:
        return None
    if calibration.status != "issued":
        found.add("status")
    reason = min(found, key=CLEARED_REASONS.index)
    return Finding(calibration, CLEARED, reason=reason)


def _rank(finding: Finding) -> tuple[int, int, str, int]:
    generation = 0 if finding.why is None else finding.why.generation
    calibration = finding.calibration
    return LISTS.index(finding.list_name), generation, calibration.number, calibration.revision
