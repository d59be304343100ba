"""One line of a recall as JSON: paths, shifts, and what the agreed rule says before and after.

The verdict before is the one that was reported, where it was; the verdict after is given by the
same rule and version with the uncertainty after. Limits stay as they were.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from api.rules.decide import worst
from api.services.recording import Record
from api.services.tracing import Statement, Traced
from graph.exact import EXACT, Exact, ratio_text, text
from graph.faults import Effect
from graph.model import Calibration, Point
from graph.recall import AFFECTED, CLEARED, EXPOSED, INDETERMINATE, TRACED, Case, Finding
from graph.shifts import Shifted, Span, mover

HALF = Decimal("0.5")
TRACED_REASONS = {
    "draft": "a draft was never issued",
    "superseded": "a later revision took its place",
    "voided": "it was voided",
}
CLEARED_REASONS = {
    "status": "not issued, and nothing faulty reached it",
    "channel": "another channel was used",
    "part": "the part was not in the assembly at the time",
    "record": "the record shows that the right factor was applied",
    "window": "used outside the window",
    "range": "no point lies in a faulty range",
}


def entry(
    finding: Finding, statements: Sequence[Statement], cases: Sequence[Case], traced: Traced
) -> Record:
    """Return the entry of one finding; `statements` are those of its points, in their order."""
    made = _head(finding, traced)
    if finding.list_name == CLEARED:
        return made | {"reason": finding.reason, "detail": CLEARED_REASONS[finding.reason or ""]}
    if finding.list_name == TRACED:
        return made | {"reason": finding.reason, "detail": _why_traced(finding, traced)}
    bounded = finding.list_name != EXPOSED and any(case.fault.bounded for case in cases)
    points: list[Record] = []
    over_U, over_tolerance = Largest(), Largest()
    known: tuple[Effect, ...] | None = None
    for point, statement, effects in zip(
        finding.calibration.points, statements, finding.effects, strict=True
    ):
        if known is None or effects != known:
            # Neighbouring points mostly share their effects, and then the mover too.
            known, moving = effects, mover(cases, effects)
            delta = _shown(moving.delta, bounded)
        moved = moving.move(point)
        over_U.see(moved.shift, point.U)
        over_tolerance.see(moved.shift, _half_width(statement))
        shown = _shown(moved.delta, bounded) if point.at_zero else delta
        points.append(_point(point, statement, moved, shown, finding.list_name, bounded))
    made |= _outcome(points, finding.list_name)
    made["max_shift_over_U"] = over_U.text
    made["max_shift_over_tolerance"] = over_tolerance.text
    return made


@dataclass(slots=True)
class Largest:
    """Largest |shift| of the points seen, as a share of U or of the tolerance."""

    size: float = -1.0
    shift: Exact = Decimal(0)
    whole: Exact = Decimal(1)

    def see(self, shift: Exact | Span | None, whole: Exact | None) -> None:
        """Look at one more point; floats only find the largest, its text is exact."""
        if shift is None or not whole:
            return
        if isinstance(shift, Span):
            shift = max(abs(Fraction(shift.lower)), abs(Fraction(shift.upper)))
        size = abs(float(shift) / float(whole))
        if size > self.size:
            self.size, self.shift, self.whole = size, shift, whole

    @property
    def text(self) -> str | None:
        """The ratio with 12 digits; None where no point has a shift and a whole."""
        if self.size < 0:
            return None
        shift = self.shift.copy_abs() if isinstance(self.shift, Decimal) else abs(self.shift)
        return ratio_text(shift, self.whole)


def _half_width(statement: Statement) -> Decimal | None:
    """Half of a two-sided tolerance, or the size of its one limit."""
    lower, upper = statement.lower, statement.upper
    if lower is None or upper is None:
        limit = upper if lower is None else lower
        return None if limit is None else limit.copy_abs()
    return EXACT.multiply(EXACT.subtract(upper, lower), HALF)


def _head(finding: Finding, traced: Traced) -> Record:
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
    if finding.why is not None:
        made |= {
            "generation": finding.why.generation,
            "reason_paths": [list(path) for path in finding.why.paths],
            "path_count": finding.why.count,
        }
    return made


def _date_only(calibration: Calibration) -> bool:
    return calibration.performed.date_only or any(use.at.date_only for use in calibration.uses)


def _why_traced(finding: Finding, traced: Traced) -> str:
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
    before = statement.reported or _before(point, statement)
    after = _after(point, statement, moved)
    made: Record = {
        "point": point.name,
        "stage": point.stage,
        "unit": point.unit,
        "delta_rel": delta,
        "shift": _shown(moved.shift, bounded),
        "corrected_error": _shown(moved.corrected, bounded),
    }
    if list_name == AFFECTED and moved.U_after is not None:
        made["U_after"] = text(moved.U_after, exact=moved.U_exact)
    made["verdict_before"] = before
    made["verdict_after"] = after[0] if len(after) == 1 else None
    if bounded and after:
        made["verdicts_possible"] = list(after)
    made["changed"] = _changed(before, after)
    return made


def _before(point: Point, statement: Statement) -> str | None:
    if statement.judge is None or point.error is None:
        return None
    return statement.judge.verdict(
        point.error, point.U, statement.lower, statement.upper, point.k, statement.dof
    )


def _after(point: Point, statement: Statement, moved: Shifted) -> tuple[str, ...]:
    """Verdicts that the rule can reach after the fault; limits stay as they were."""
    corrected = moved.corrected
    if statement.judge is None or corrected is None:
        return ()
    U = point.U if moved.U_after is None else moved.U_after
    lower, upper, dof = statement.lower, statement.upper, statement.dof
    if isinstance(corrected, Span):
        least, most = corrected
        return statement.judge.verdicts(least, most, U, lower, upper, point.k, dof)
    found = statement.judge.verdict(corrected, U, lower, upper, point.k, dof)
    return () if found is None else (found,)


def _changed(before: str | None, after: tuple[str, ...]) -> bool | None:
    if not after:
        return False if before is None else None
    return after[0] != before if len(after) == 1 else None


def _outcome(points: list[Record], list_name: str) -> Record:
    """Worst point per stage before and after, and whether any statement changes."""
    if list_name == INDETERMINATE:
        return {"points": points, "overall": None, "verdict_changes": None}
    stages: dict[str, list[Record]] = {}
    for point in points:
        stages.setdefault(point["stage"], []).append(point)
    overall = {
        stage: {
            "before": _worst([row["verdict_before"] for row in rows]),
            "after": None if _open(rows) else _worst([row["verdict_after"] for row in rows]),
        }
        for stage, rows in stages.items()
    }
    changed = [point["changed"] for point in points]
    made: Record = {"could_change": True} if _open(points) else {}
    return made | {
        "points": points,
        "overall": overall,
        "verdict_changes": True if True in changed else None if None in changed else False,
    }


def _open(points: list[Record]) -> bool:
    """Whether some point may come out with more than one verdict."""
    return any(
        point["verdict_after"] is None and len(point.get("verdicts_possible", ())) > 1
        for point in points
    )


def _worst(verdicts: list[str | None]) -> str | None:
    known = {one for one in verdicts if one is not None}
    return known.pop() if len(known) == 1 else worst(known) if known else None


def _shown(value: Exact | Span | None, bounded: bool) -> Any:
    if value is None:
        return None
    if isinstance(value, Span):
        shown = text(value.lower), text(value.upper)
        return {"lower": shown[0], "upper": shown[1]} if bounded else shown[0]
    return {"lower": text(value), "upper": text(value)} if bounded else text(value)
