"""The lists of a recall, and in which one all faults together put a certificate.

Several faults are judged one by one (`graph.recall`) and joined here: their deltas add up, their
uncertainties are kept apart, and a certificate that several of them reach is listed once.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from graph.effects import together
from graph.faults import NO_EFFECT, Effect, Fault
from graph.in_force import DOUBTS
from graph.links import Link
from graph.model import ZERO, Calibration
from graph.passing import Passed
from graph.paths import Reasons, joined
from graph.suspects import CLEARED_REASONS, CORRECTED

# The lists of a recall.
AFFECTED = "affected"
EXPOSED = "exposed_zero_effect"
INDETERMINATE = "indeterminate"
TRACED = "traced_not_recalled"
CLEARED = "cleared"
NOT_EXCLUDED = "cannot_be_excluded"
LISTS = (AFFECTED, EXPOSED, INDETERMINATE, TRACED, CLEARED, NOT_EXCLUDED)
# Of what several faults do to a certificate the first of these counts.
_LISTED_BEFORE = (INDETERMINATE, AFFECTED, EXPOSED)
# Why a certificate cannot be excluded, beside the doubts about a value in force (`graph.in_force`).
NO_USE_IN_ROLE = "no_use_in_role"
RESTS_ON_DOUBT = "rests_on_doubt"


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
    doubts : tuple of str
        Why it could not be excluded, did it stand in no other list.
    cancels : bool
        Whether paths of one fault cancel each other, which assumes that they are fully correlated.
    links : tuple of Link
        The last stretch of every path, by key; of those that would hold, where it cannot be
        excluded.
    given_back : bool
        Whether what an earlier look took is given back here.
    """

    calibration: Calibration
    list_name: str
    why: Reasons | None = None
    effects: tuple[tuple[Effect, ...], ...] = ()
    reason: str | None = None
    doubts: tuple[str, ...] = ()
    cancels: bool = False
    links: tuple[Link, ...] = ()
    given_back: bool = False


class Judged(NamedTuple):
    """What one fault does to one calibration that it reaches."""

    list_name: str
    why: Reasons
    effects: tuple[Effect, ...]
    passed: Passed | None
    cancels: bool = False
    reason: str | None = None
    links: tuple[Link, ...] = ()
    given_back: bool = False


class Doubt(NamedTuple):
    """Why one fault cannot be excluded from a calibration, and the paths that would hold."""

    reasons: frozenset[str]
    why: Reasons
    links: tuple[Link, ...]


def list_of(fault: Fault, effects: Sequence[Effect]) -> str:
    """List of a calibration with these effects of one fault at its points."""
    found, seen = EXPOSED, None
    for effect in effects:
        if effect is seen:
            continue
        seen = effect
        if effect.delta is None:
            return INDETERMINATE
        if effect.delta or (effect.weight and fault.uncertainty_only):
            found = AFFECTED
    return found


def judgement(
    calibration: Calibration,
    faults: Sequence[Fault],
    judged: Sequence[Judged | frozenset[str]],
    doubts: Sequence[Doubt],
) -> Judgement | None:
    """Return what all faults together do to one calibration, None where none ever met it.

    Parameters
    ----------
    calibration : Calibration
        With its results where a fault reaches it.
    faults : sequence of Fault
        All of them.
    judged : sequence of Judged or frozenset of str
        For each fault what it does, or the reasons for which it does nothing.
    doubts : sequence of Doubt
        Why a fault cannot be excluded, of those that cannot.

    Returns
    -------
    Judgement or None
    """
    reached = [one for one in judged if isinstance(one, Judged)]
    if len(reached) == 1 and not doubts and calibration.status == "issued":
        (one,) = reached
        if not one.given_back:
            return _of_one(calibration, judged, one)  # as nearly always
    said = {reason for one in doubts for reason in one.reasons}
    named = tuple([reason for reason in DOUBTS if reason in said]) if said else ()
    if not reached and doubts and calibration.status == "issued":
        why = joined([one.why for one in doubts])
        links = tuple(link for one in doubts for link in one.links)
        return Judgement(calibration, NOT_EXCLUDED, why, doubts=named, links=links)
    if not reached:
        cleared = {why for one in judged if isinstance(one, frozenset) for why in one}
        return _clearance(calibration, cleared)
    why = joined([one.why for one in reached])
    links = tuple([link for one in reached for link in one.links])
    if calibration.status != "issued":
        return Judgement(calibration, TRACED, why, reason=calibration.status, links=links)
    effects = _of_all(calibration, judged)
    given = any(one.given_back for one in reached)
    if given and not any(_moves(faults, at_point) for at_point in effects):
        return _clearance(calibration, {CORRECTED})  # what is given back is done by a fault now
    # Of several independent faults one with an effect is enough, even if their sum has none.
    lists = {one.list_name for one in reached}
    list_name = min(lists, key=_LISTED_BEFORE.index)
    cancels = list_name == EXPOSED and any(one.cancels for one in reached)
    reason = max([one.reason for one in reached if one.reason], default=None)  # shares first
    return Judgement(calibration, list_name, why, effects, reason, named, cancels, links, given)


def _of_one(
    calibration: Calibration, judged: Sequence[Judged | frozenset[str]], one: Judged
) -> Judgement:
    """What a single fault does to an issued certificate that no other one reaches."""
    cancels = one.list_name == EXPOSED and one.cancels
    effects, reason = _of_all(calibration, judged), one.reason or None
    return Judgement(calibration, one.list_name, one.why, effects, reason, (), cancels, one.links)


def _of_all(
    calibration: Calibration, judged: Sequence[Judged | frozenset[str]]
) -> tuple[tuple[Effect, ...], ...]:
    """Effects of every fault by point, those that do not reach the calibration among them."""
    nothing = (NO_EFFECT,) * len(calibration.points)
    return together([one.effects if isinstance(one, Judged) else nothing for one in judged])


def _moves(faults: Sequence[Fault], effects: Sequence[Effect]) -> bool:
    """Whether all faults together move a point or widen its U, or may."""
    alone = [
        effect.delta is None
        or (fault.bounded and effect.delta != 0)
        or (effect.weight != 0 and bool(fault.variance))
        for fault, effect in zip(faults, effects, strict=True)
    ]
    return any(alone) or sum(one.delta or ZERO for one in effects) != 0


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
    listed_by_generation = judgement.why is not None and judgement.list_name != NOT_EXCLUDED
    generation = judgement.why.generation if judgement.why and listed_by_generation else 0
    calibration = judgement.calibration
    return generation, calibration.number, calibration.revision
