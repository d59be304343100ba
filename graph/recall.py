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
from graphlib import CycleError, TopologicalSorter
from typing import NamedTuple

from graph.effects import effects_at_points
from graph.faults import NO_EFFECT, Effect
from graph.model import ZERO, Calibration, Use
from graph.passing import Passed, passed_on
from graph.paths import Reasons, joined, reasons
from graph.suspects import CLEARED_REASONS, NOT_EXPOSED, Exposure, SuspectWindow, expose

# The lists of a recall.
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
    """A calibration rests on itself.

    Parameters
    ----------
    circle : sequence of int
        The keys on the way round.
    """

    def __init__(self, circle: Sequence[int]) -> None:
        super().__init__(f"a calibration rests on itself: {circle}")
        self.circle = tuple(circle)


class Judgement(NamedTuple):
    """One certificate in one list.

    Attributes
    ----------
    calibration : Calibration
        The calibration with its certificate.
    list_name : str
        One of LISTS.
    why : Reasons or None
        How it is reached; None where it is cleared.
    effects : tuple of tuple of Effect
        For each point of the calibration one `Effect` per fault.
    reason : str or None
        Why the certificate is traced or cleared rather than recalled.
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
    """One fault's way through the calibrations, in order of dependence.

    Effects that are passed on are one object if they are equal: most of what rests on a fault has
    the same effect, and is then seen to at a glance.
    """

    suspect: SuspectWindow
    carriers: Container[int] | None
    judged: dict[int, _Judged] = field(default_factory=dict)
    known: dict[Effect, Effect] = field(default_factory=dict)


def assess(
    suspects: Sequence[SuspectWindow],
    calibrations: Iterable[Calibration],
    carriers: Container[int] | None = None,
) -> Iterator[Judgement]:
    """Judge calibrations one by one; those that no fault ever met give no judgement.

    Parameters
    ----------
    suspects : sequence of SuspectWindow
        The faults, each with its window; their effects add up.
    calibrations : iterable of Calibration
        The direct users of the faulty items and whatever rests on a suspect one, each after those
        it rests on (`in_order_of_dependence`). Of each only what it passes on is kept, so that a
        recall of any size can be read and answered piece by piece.
    carriers : container of int, optional
        Keys of the calibrations that others rest on, if known; nothing is kept of the rest.

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
    walks = [_Walk(suspect, carriers) for suspect in suspects]
    for calibration in calibrations:
        judged = [_judge(walk, calibration) for walk in walks]
        judgement = _judgement(suspects, calibration, judged)
        if judgement is not None:
            yield judgement


def in_order_of_dependence(rests_on: Mapping[int, Collection[int]]) -> list[int]:
    """Order keys so that each comes after those it rests on; links out of the mapping are ignored.

    Keys given in order of time mostly are in this order already, which is then kept.

    Parameters
    ----------
    rests_on : mapping of int to collection of int
        For each key those that it rests on.

    Returns
    -------
    list of int

    Raises
    ------
    CyclicTrace
        If one rests on itself.

    Examples
    --------
    >>> in_order_of_dependence({3: [2], 1: [], 2: [1]})
    [1, 2, 3]
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
    suspect = walk.suspect
    exposure = NOT_EXPOSED
    if suspect.met_by(calibration):
        exposure = expose(calibration, suspect)
    through = _ways_on(walk, calibration, exposure)
    if not exposure.paths and not through:
        return exposure.cleared
    carried = _carried(walk, calibration, exposure)
    effects = effects_at_points(suspect.fault, calibration, exposure.uses, carried)
    list_name = _list_of(effects)
    if not effects and _weighs([*exposure.uses, *(use for use, _ in carried)]):
        list_name = INDETERMINATE  # something reached it, and there is no result to move
    why = reasons(calibration.number, exposure.paths, through)
    judged = _Judged(list_name, why, effects, None)
    if walk.carriers is None or calibration.key in walk.carriers:
        passed = None
        if calibration.assigns_value and list_name in (AFFECTED, INDETERMINATE):
            known = [walk.known.setdefault(effect, effect) for effect in effects]
            passed = passed_on(calibration, known)
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


def _weighs(uses: Sequence[Use]) -> bool:
    return any(use.weight != 0 for use in uses)


def _list_of(effects: Sequence[Effect]) -> str:
    """List of a calibration with these effects of one fault at its points."""
    found, seen = EXPOSED, None
    for effect in effects:
        if effect is seen:
            continue
        seen = effect
        if effect.delta is None:
            return INDETERMINATE
        if effect.delta:
            found = AFFECTED
    return found


def _joint_list_of(suspects: Sequence[SuspectWindow], effects: Sequence[Sequence[Effect]]) -> str:
    """List under several faults, whose known effects may cancel each other."""
    found, seen = EXPOSED, None
    for at_point in effects:
        if at_point is seen:
            continue
        seen = at_point
        if any(effect.delta is None for effect in at_point):
            return INDETERMINATE
        if _is_shifted(suspects, at_point):
            found = AFFECTED
    return found


def _is_shifted(suspects: Sequence[SuspectWindow], at_point: Sequence[Effect]) -> bool:
    known, bounded = ZERO, False
    for suspect, effect in zip(suspects, at_point, strict=True):
        if not effect.delta:
            continue
        if suspect.fault.bounded:
            bounded = True
        else:
            known = known + effect.delta if known else effect.delta
    return bounded or known != 0


def _judgement(
    suspects: Sequence[SuspectWindow],
    calibration: Calibration,
    judged: Sequence[_Judged | frozenset[str]],
) -> Judgement | None:
    """What all faults together do to one calibration."""
    reached = [one for one in judged if isinstance(one, _Judged)]
    if not reached:
        cleared = {why for one in judged if isinstance(one, frozenset) for why in one}
        return _clearance(calibration, cleared)
    why = joined([one.why for one in reached])
    if calibration.status != "issued":
        return Judgement(calibration, TRACED, why, reason=calibration.status)
    nothing = (NO_EFFECT,) * len(calibration.points)
    effects = _together([one.effects if isinstance(one, _Judged) else nothing for one in judged])
    if len(judged) == 1:
        return Judgement(calibration, reached[0].list_name, why, effects)
    list_name = _joint_list_of(suspects, effects)
    if any(one.list_name == INDETERMINATE for one in reached):
        list_name = INDETERMINATE
    return Judgement(calibration, list_name, why, effects)


def _together(effects: Sequence[Sequence[Effect]]) -> tuple[tuple[Effect, ...], ...]:
    """Effects of all faults by point; neighbouring points with the same ones share a tuple."""
    found: list[tuple[Effect, ...]] = []
    for at_point in zip(*effects, strict=True):
        found.append(found[-1] if found and found[-1] == at_point else at_point)
    return tuple(found)


def _clearance(calibration: Calibration, reasons_found: set[str]) -> Judgement | None:
    if not reasons_found:
        return None
    if calibration.status != "issued":
        reasons_found.add("status")
    reason = min(reasons_found, key=CLEARED_REASONS.index)
    return Judgement(calibration, CLEARED, reason=reason)


def rank(judgement: Judgement) -> tuple[int, str, int]:
    """Return the place of a judgement in its list: generation, certificate, revision.

    Parameters
    ----------
    judgement : Judgement
        One that `assess` gave.

    Returns
    -------
    tuple of (int, str, int)
    """
    generation = 0 if judgement.why is None else judgement.why.generation
    calibration = judgement.calibration
    return generation, calibration.number, calibration.revision
