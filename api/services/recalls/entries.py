"""One line of a recall as JSON: paths, shifts, and what the agreed rule says before and after.

The verdict before is the one that was reported, where it was; the verdict after is given by the
same rule and version with the uncertainty after. Limits stay as they were. Where the rule had said
otherwise than was reported before any fault, the point gives what it decided (`decided_before`) and
the entry says so, so that no change is put down to the fault alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from api.rules.judge import Ruling
from api.rules.verdicts import worst
from api.services.base.record import Record
from api.services.recalls.not_excluded import detail as why_not_excluded
from api.services.recalls.reading import Traced
from api.services.recalls.reading_results import Statement
from graph.exact import Exact, ratio, text
from graph.faults import Effect
from graph.model import Calibration, Point
from graph.recall import (
    AFFECTED,
    CLEARED,
    EXPOSED,
    INDETERMINATE,
    NOT_EXCLUDED,
    TRACED,
    Judgement,
)
from graph.shifts import Mover, Shifted, Span, mover
from graph.suspects import SuspectWindow

MOST_MOVERS = 1_000
VERDICTS = ("verdict_before", "verdict_after")
TRACED_REASONS = {
    "draft": "a draft was never issued",
    "superseded": "a later revision took its place",
    "voided": "it was voided",
}
CLEARED_REASONS = {
    "status": "not issued, and nothing faulty reached it",
    "corrected": "what the fault does was taken from its errors when this revision was made",
    "channel": "another channel was used",
    "part": "the part was not in the assembly at the time",
    "record": "the record shows that the right factor was applied",
    "window": "used outside the window",
    "range": "no point lies in a faulty range",
    "mode": "calibrated in another mode than that to which the fault is limited",
    "role": "used in another role than those to which the fault is limited",
    "direction": "no point of a direction to which the fault is limited",
}


INDETERMINATE_REASONS = {
    "shares": "which share of the force each part carried is not recorded, or does not add up",
    "part": "what a part of the assembly does that was calibrated with it is not known",
}
STAGES = {"single": "", "as_found": " as found", "as_left": " as left"}
GIVEN_BACK = (
    "an earlier look at the fault took from its errors, or from those of what it rests on, what "
    "this look does not find: it is given back"
)
CANCELS = "paths of one fault cancel each other, if they are fully correlated as is assumed"


class Entries:
    """Writes the entries of one recall.

    Points of one certificate, and certificates that rest on the same item, mostly share their
    effects: what moves them is made once.
    """

    def __init__(
        self,
        cases: Sequence[SuspectWindow],
        traced: Traced,
        gaps: Sequence[Mapping[int, Sequence[str]]],
    ) -> None:
        self._cases = cases
        self._gaps = gaps
        self._traced = traced
        self._bounded = any(case.fault.bounded for case in cases)
        self._movers: dict[tuple[tuple[Effect, ...], bool], tuple[Mover, Any]] = {}

    def entry(self, finding: Judgement, statements: Sequence[Statement]) -> Record:
        """Return the entry of one finding; `statements` are those of its points, in their order."""
        made = _head(finding, self._traced)
        if finding.list_name == CLEARED:
            detail = CLEARED_REASONS[finding.reason or ""]
            return made | {"reason": finding.reason, "detail": detail}
        if finding.list_name == TRACED:
            detail = _why_traced(finding, self._traced)
            return made | {"reason": finding.reason, "detail": detail}
        key = finding.calibration.key
        roles = sorted({role for gap in self._gaps for role in gap.get(key, ())})
        if finding.list_name == NOT_EXCLUDED:
            return made | {
                "reasons": finding.doubts,
                "detail": why_not_excluded(finding.doubts, roles),
            }
        if finding.doubts:
            made["doubts"] = finding.doubts
        if finding.reason is not None:
            made["detail"] = INDETERMINATE_REASONS[finding.reason]
        if finding.reason == "shares":  # a record that can be completed: the reader is told which
            made["reason"] = finding.reason
        if finding.given_back:
            made["detail"] = GIVEN_BACK
        if finding.cancels:
            made["detail"] = CANCELS
        return made | self._effects(finding, statements)

    def _effects(self, finding: Judgement, statements: Sequence[Statement]) -> Record:
        """What happens at every point, what comes of it together, and the largest shifts."""
        bounded = self._bounded and finding.list_name != EXPOSED
        points: list[Record] = []
        over_U: list[Decimal] = []
        over_tolerance: list[Decimal] = []
        known: tuple[Effect, ...] | None = None
        for point, statement, effects in zip(
            finding.calibration.points, statements, finding.effects, strict=True
        ):
            if effects is not known:
                known, (moving, delta) = effects, self._mover(effects, bounded)
            moved = moving.move(point)
            # Where no force was applied, delta is shown as 0.
            shown = delta if moved.delta is moving.delta else _shown(moved.delta, bounded)
            points.append(_point(point, statement, moved, shown, finding.list_name, bounded))
            if moved.shift is None:
                continue
            size = _widest(moved.shift) if isinstance(moved.shift, Span) else moved.shift
            if point.U:
                over_U.append(ratio(size, point.U))
            if statement.half_width:
                over_tolerance.append(ratio(size, statement.half_width))
        return _outcome(points, finding.list_name, bounded) | {
            "max_shift_over_U": _largest(over_U),
            "max_shift_over_tolerance": _largest(over_tolerance),
        }

    def _mover(self, effects: tuple[Effect, ...], bounded: bool) -> tuple[Mover, Any]:
        """Return what moves points with these effects, and delta as it is shown."""
        known = self._movers.get((effects, bounded))
        if known is not None:
            return known
        if len(self._movers) == MOST_MOVERS:  # a drift has another delta for every use
            self._movers.clear()
        found = mover(self._cases, effects)
        made = self._movers[effects, bounded] = found, _shown(found.delta, bounded)
        return made


def _widest(shift: Span) -> Fraction:
    return max(abs(Fraction(shift.lower)), abs(Fraction(shift.upper)))


def _largest(ratios: list[Decimal]) -> str | None:
    return text(max(map(Decimal.copy_abs, ratios))) if ratios else None


def _head(finding: Judgement, traced: Traced) -> Record:
    calibration = finding.calibration
    customer = traced.customer(calibration.key)
    made: Record = {
        "certificate": calibration.number,
        "revision": calibration.revision,
        "item": calibration.item,
        "class": finding.list_name,
    }
    if customer is not None:
        made["customer"] = customer
    if calibration.external:
        made |= {"external": True, "issuer": traced.rows[calibration.key].issuer or None}
    if _date_only(calibration):
        made["date_only"] = True
    if finding.list_name == NOT_EXCLUDED:
        why = finding.why
        paths, count = ((), 0) if why is None else (why.paths, why.count)
        made |= {"reason_paths": paths, "path_count": count}
    elif finding.why is not None:
        made |= {
            "generation": finding.why.generation,
            "reason_paths": finding.why.paths,
            "path_count": finding.why.count,
        }
    return made


def _date_only(calibration: Calibration) -> bool:
    moments = {calibration.performed, *(use.at for use in calibration.uses)}
    return any(at.date_only for at in moments)


def _why_traced(finding: Judgement, traced: Traced) -> str:
    row = traced.rows[finding.calibration.key]
    detail = TRACED_REASONS[finding.reason or ""]
    if row.superseded_by is not None:
        detail += f" ({row.superseded_by})"
    if row.void_reason is not None:
        detail += f": {row.void_reason}"
    return detail


def _point(
    point: Point, statement: Statement, moved: Shifted, delta: Any, list_name: str, bounded: bool
) -> Record:
    ruling = statement.ruling
    before = statement.decided(point) if statement.reported is None else statement.reported
    if ruling is not None and moved.U_after is not None:
        ruling = ruling.with_U(moved.U_after)
    shift, corrected = moved.shift, moved.corrected
    after = () if ruling is None or corrected is None else _after(ruling, corrected)
    made: Record = {
        "point": point.name,
        "stage": point.stage,
        "unit": point.unit,
        "delta_rel": delta,
        "shift": _shown(shift, bounded),
        "corrected_error": _shown(corrected, bounded),
    }
    if list_name in (AFFECTED, INDETERMINATE) and moved.U_after is not None:
        made["U_after"] = text(moved.U_after, exact=moved.U_exact)
    made["verdict_before"] = before
    contradicted = statement.contradicted(point)
    if contradicted is not None:
        made["decided_before"] = contradicted
    made["verdict_after"] = after[0] if len(after) == 1 else None
    if bounded and after:
        made["verdicts_possible"] = list(after)
    made["changed"] = after[0] != before if len(after) == 1 else None
    return made


def _after(ruling: Ruling, corrected: Exact | Span) -> tuple[str, ...]:
    """Verdicts that the rule can reach after the fault; limits stay as they were."""
    if isinstance(corrected, Span):
        return ruling.verdicts(*corrected)
    found = ruling.verdict(corrected)
    return () if found is None else (found,)


def _outcome(points: list[Record], list_name: str, bounded: bool) -> Record:
    """Worst point per stage before and after, and whether any statement changes."""
    stages: dict[str, list[Record]] = {}
    for point in points:
        stages.setdefault(point["stage"], []).append(point)
    overall = {}
    for stage, rows in stages.items():
        before, after = [{row[name] for row in rows} for name in VERDICTS]
        overall[stage] = {
            "before": _worst(before),
            "after": None if _unknown(rows) or (bounded and _open(rows)) else _worst(after),
        }
    changed = {point["changed"] for point in points}
    made: Record = {"could_change": True} if bounded and _open(points) else {}
    contradicted = [point for point in points if "decided_before" in point]
    if contradicted:
        made["contradicted_before"] = _contradicted(contradicted)
    made["points"] = points
    made["overall"] = overall
    made["verdict_changes"] = True if True in changed else None if None in changed else False
    if list_name == INDETERMINATE:
        made["verdict_changes"] = None
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


def _unknown(rows: list[Record]) -> bool:
    """Whether some point moves by nobody knows how much."""
    return any(row["shift"] is None for row in rows)


def _open(points: list[Record]) -> bool:
    """Whether some point may come out with more than one verdict."""
    return any(
        point["verdict_after"] is None and len(point.get("verdicts_possible", ())) > 1
        for point in points
    )


def _worst(verdicts: set[str | None]) -> str | None:
    known = [one for one in verdicts if one is not None]
    return worst(known) if known else None


def _shown(value: Exact | Span | None, bounded: bool) -> Any:
    if type(value) is Decimal and not bounded:
        return text(value)
    if value is None:
        return None
    least, most = value if isinstance(value, Span) else (value, value)
    return {"lower": text(least), "upper": text(most)} if bounded else text(least)
