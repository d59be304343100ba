"""What a recall tells of each point: its shift, and what the agreed rule says before and after.

The verdict before is the one that was reported, where it was; the verdict after is given by the
same rule and version with the uncertainty after, which may be another branch of it, or no statement
any more. Limits stay as they were. Where the rule had said otherwise than was reported before any
fault, the point gives what it decided (`decided_before`) and the entry says so, so that no change
is put down to the fault alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from api.rules.verdicts import worst
from api.services.base.record import Record
from api.services.recalls.reading_results import Statement, branches
from graph.exact import Exact, divided, ratio, text
from graph.faults import Effect
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, Judgement
from graph.model import Point
from graph.shifts import Mover, Shifted, Span, mover
from graph.suspects import SuspectWindow

MOST_MOVERS = 1_000
STAGES = {"single": "", "as_found": " as found", "as_left": " as left"}
Shown = Callable[[Exact | Span | None], Any]


class MovedPoints:
    """Tells what happens at the points of the certificates of one recall.

    Points of one certificate, and certificates that rest on the same item, mostly share their
    effects: what moves them is made once.
    """

    def __init__(self, cases: Sequence[SuspectWindow]) -> None:
        self._cases = cases
        self._bounded = any(case.fault.bounded for case in cases)
        self._movers: dict[tuple[Effect, ...], Mover] = {}

    def told(self, finding: Judgement, statements: Sequence[Statement]) -> Record:
        """What happens at every point, what comes of it together, and the largest shifts."""
        bounded = self._bounded and finding.list_name != EXPOSED
        shown = _as_ends if bounded else _as_number
        widened = finding.list_name in (AFFECTED, INDETERMINATE)
        points: list[Record] = []
        over_U: list[Decimal] = []
        over_tolerance: list[Decimal] = []
        known: tuple[Effect, ...] | None = None
        for point, statement, effects in zip(
            finding.calibration.points, statements, finding.effects, strict=True
        ):
            if effects is not known:
                known, moving = effects, self._mover(effects)
                delta = shown(moving.delta)
            moved = moving.move(point)
            shift = moved.shift
            made: Record = {
                "point": point.name,
                "stage": point.stage,
                "unit": point.unit,
                # Where no force was applied, delta is shown as 0.
                "delta_rel": delta if moved.delta is moving.delta else shown(moved.delta),
                "shift": shown(shift),
                "corrected_error": shown(moved.corrected),
            }
            if widened and moved.U_after is not None:
                made["U_after"] = text(moved.U_after, exact=moved.U_exact)
            _judge(made, point, statement, moved, bounded)
            points.append(made)
            if shift is None:
                continue
            U, half_width = point.U, statement.half_width
            if (
                type(shift) is Decimal and type(U) is Decimal
            ):  # without a call for each of nearly all
                if U:
                    over_U.append(divided(shift, U))
                if half_width:
                    over_tolerance.append(divided(shift, half_width))
                continue
            size = _widest(shift) if isinstance(shift, Span) else shift
            if U:
                over_U.append(ratio(size, U))
            if half_width:
                over_tolerance.append(ratio(size, half_width))
        made = _outcome(points, bounded)
        if finding.list_name == INDETERMINATE:
            made["verdict_changes"] = None
        made["max_shift_over_U"] = _largest(over_U)
        made["max_shift_over_tolerance"] = _largest(over_tolerance)
        return made

    def _mover(self, effects: tuple[Effect, ...]) -> Mover:
        """Return what moves points with these effects."""
        found = self._movers.get(effects)
        if found is None:
            if len(self._movers) == MOST_MOVERS:  # a drift has another delta for every use
                self._movers.clear()
            found = self._movers[effects] = mover(self._cases, effects)
        return found


def _judge(made: Record, point: Point, statement: Statement, moved: Shifted, bounded: bool) -> None:
    """Add the verdicts before and after to what is told of a point, and whether they differ."""
    ruling, corrected = statement.ruling, moved.corrected
    decided = statement.decided(point)
    before = decided if statement.reported is None else statement.reported
    if ruling is not None and moved.U_after is not None:
        ruling = ruling.with_U(moved.U_after)
    after: str | None = None
    possible: tuple[str, ...] = ()
    if ruling is not None and corrected is not None:
        if isinstance(corrected, Span):
            possible = ruling.verdicts(*corrected)
            after = possible[0] if len(possible) == 1 else None
        else:
            after = ruling.verdict(corrected)
    made["verdict_before"] = before
    if decided is not None and decided != before:
        made["decided_before"] = decided
    made["verdict_after"] = after
    if statement.ruling is not None and statement.ruling.branch is not None:
        made |= branches(statement.ruling, ruling if after or possible else None)
    if bounded and (after or possible):
        made["verdicts_possible"] = list(possible) or [after]
    made["changed"] = None if after is None else after != before


def _outcome(points: list[Record], bounded: bool) -> Record:
    """Worst point per stage before and after, and whether any statement changes."""
    overall = {}
    stages: dict[str, list[Record]] = {}
    for point in points:
        stages.setdefault(point["stage"], []).append(point)
    for stage, rows in stages.items():
        # Where some point moves by nobody knows how much, nobody knows the worst one after.
        told = None not in [row["shift"] for row in rows] and not (bounded and _open(rows))
        overall[stage] = {
            "before": _worst([row["verdict_before"] for row in rows]),
            "after": _worst([row["verdict_after"] for row in rows]) if told else None,
        }
    changed = [point["changed"] for point in points]
    made: Record = {"could_change": True} if bounded and _open(points) else {}
    contradicted = [point for point in points if "decided_before" in point]
    if contradicted:
        made["contradicted_before"] = _contradicted(contradicted)
    made["points"] = points
    made["overall"] = overall
    made["verdict_changes"] = True if True in changed else None if None in changed else False
    return made


def _contradicted(points: list[Record]) -> str:
    """Say which verdicts contradicted their own rule before the fault."""
    told = (
        f"point {point['point']}{STAGES[point['stage']]} was reported as "
        f"{_words(point['verdict_before'])}, where its rule gave {_words(point['decided_before'])}"
        for point in points
    )
    return f"contradicted its own rule before: {'; '.join(told)}"


def _words(verdict: str) -> str:
    return verdict.replace("_", " ")


def _open(points: list[Record]) -> bool:
    """Whether some point may come out with more than one verdict."""
    return any(
        point["verdict_after"] is None and len(point.get("verdicts_possible", ())) > 1
        for point in points
    )


def _worst(verdicts: list[str | None]) -> str | None:
    if verdicts.count(verdicts[0]) == len(verdicts):
        return verdicts[0]  # as nearly always
    known = [one for one in verdicts if one is not None]
    return worst(known) if known else None


def _widest(shift: Span) -> Fraction:
    return max(abs(Fraction(shift.lower)), abs(Fraction(shift.upper)))


def _largest(ratios: list[Decimal]) -> str | None:
    return text(max(map(Decimal.copy_abs, ratios))) if ratios else None


def _as_number(value: Exact | Span | None) -> str | None:
    if type(value) is Decimal:
        return text(value)
    if value is None:
        return None
    return text(value.lower if isinstance(value, Span) else value)


def _as_ends(value: Exact | Span | None) -> Record | None:
    if value is None:
        return None
    least, most = value if isinstance(value, Span) else (value, value)
    return {"lower": text(least), "upper": text(most)}
