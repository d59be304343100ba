"""One line of a recall as JSON: paths, shifts, and what the agreed rule says before and after.

The verdict before is the one that was reported, where it was; the verdict after is given by the
same rule and version with the uncertainty after. Limits stay as they were.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from api.rules.acceptance import acceptance
from api.rules.decide import reachable, verdict, worst
from api.rules.rule import RuleError
from api.services.recording import Record
from api.services.tracing import Statement, Traced
from graph.exact import text
from graph.model import Calibration, Point
from graph.recall import AFFECTED, CLEARED, EXPOSED, INDETERMINATE, TRACED, Case, Finding
from graph.shifts import Shifted, Span, shifted

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


def entry(finding: Finding, cases: Sequence[Case], traced: Traced) -> Record:
    """Return the entry of one finding."""
    calibration = finding.calibration
    made = _head(finding, traced)
    if finding.list_name == CLEARED:
        return made | {"reason": finding.reason, "detail": CLEARED_REASONS[finding.reason or ""]}
    if finding.list_name == TRACED:
        made["reason"] = finding.reason
        made["detail"] = _why_traced(finding, traced)
        return made
    points = [
        _point(point, statement, shifted(point, cases, effects), finding.list_name)
        for point, statement, effects in zip(
            calibration.points,
            traced.statements.get(calibration.key, ()),
            finding.effects,
            strict=True,
        )
    ]
    return made | _outcome(points, finding.list_name)


def _head(finding: Finding, traced: Traced) -> Record:
    calibration = finding.calibration
    row = traced.rows[calibration.key]
    made: Record = {
        "certificate": calibration.number,
        "revision": calibration.revision,
        "item": calibration.item,
        "class": finding.list_name,
    }
    if row.customer is not None:
        made["customer"] = row.customer
    if calibration.external:
        made |= {"external": True, "issuer": row.issuer or None}
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


def _point(point: Point, statement: Statement, moved: Shifted, list_name: str) -> Record:
    before = _before(point, statement)
    after = _after(point, statement, moved)
    bounded = moved.bounded and list_name != EXPOSED
    verdict_after = after[0] if len(after) == 1 else None
    made: Record = {
        "point": point.name,
        "stage": point.stage,
        "unit": point.unit,
        "delta_rel": _span(moved.delta, bounded),
        "shift": _span(moved.shift, bounded),
        "corrected_error": _span(moved.corrected, bounded),
    }
    if list_name == AFFECTED and moved.U_after is not None:
        made["U_after"] = text(moved.U_after, exact=moved.U_exact)
    made["verdict_before"] = before
    made["verdict_after"] = verdict_after
    if bounded and after:
        made["verdicts_possible"] = list(after)
    made["changed"] = _changed(before, after)
    made["shift_over_U"] = _relative_size(point, moved)
    return made


def _before(point: Point, statement: Statement) -> str | None:
    if statement.reported is not None:
        return statement.reported
    if point.error is None:
        return None
    found = _verdicts(Span(point.error, point.error), point.U, point, statement)
    return found[0] if found else None


def _after(point: Point, statement: Statement, moved: Shifted) -> tuple[str, ...]:
    if moved.corrected is None:
        return ()
    U = point.U if moved.U_after is None else moved.U_after
    return _verdicts(moved.corrected, U, point, statement)


def _verdicts(
    error: Span, U: Fraction | None, point: Point, statement: Statement
) -> tuple[str, ...]:
    """Return the verdicts that the rule reaches from one end of the error to the other."""
    limits, rule = statement.limits, statement.rule
    if limits is None or rule is None:
        return ()
    if U is None:
        if rule.guard.basis not in ("none", "absolute", "tolerance"):
            return ()
        U = Fraction(0)
    try:
        accepted = acceptance(limits, U, rule, k=point.k, dof=statement.dof)
    except RuleError:
        return ()  # the rule does not apply to these limits, so nothing was stated by it
    if error.lower == error.upper:
        return (verdict(error.lower, limits, accepted, rule.zones),)
    return reachable(error.lower, error.upper, limits, accepted, rule.zones)


def _changed(before: str | None, after: tuple[str, ...]) -> bool | None:
    if not after:
        return False if before is None else None
    return after != (before,) if len(after) == 1 else None


def _outcome(points: list[Record], list_name: str) -> Record:
    """Worst point per stage before and after, and whether any statement changes."""
    if list_name == INDETERMINATE:
        return {"points": points, "overall": None, "verdict_changes": None}
    overall: Record = {}
    for stage in dict.fromkeys(point["stage"] for point in points):
        rows = [point for point in points if point["stage"] == stage]
        overall[stage] = {
            "before": _worst([row["verdict_before"] for row in rows]),
            "after": None if _open(rows) else _worst([row["verdict_after"] for row in rows]),
        }
    changed = [point["changed"] for point in points]
    could = _open(points)
    sizes = [Fraction(p["shift_over_U"]) for p in points if p["shift_over_U"] is not None]
    return {
        **({"could_change": True} if could else {}),
        "points": points,
        "overall": overall,
        "verdict_changes": True if any(changed) else None if None in changed else False,
        "max_shift_over_U": text(max(sizes)) if sizes else None,
    }


def _open(points: list[Record]) -> bool:
    """Whether some point may come out with more than one verdict."""
    return any(len(point.get("verdicts_possible", ())) > 1 for point in points)


def _worst(verdicts: list[str | None]) -> str | None:
    known = [one for one in verdicts if one is not None]
    return worst(known) if known else None


def _span(span: Span | None, bounded: bool) -> str | dict[str, str] | None:
    if span is None:
        return None
    if bounded:
        return {"lower": text(span.lower), "upper": text(span.upper)}
    return text(span.lower)


def _relative_size(point: Point, moved: Shifted) -> str | None:
    if moved.shift is None or not point.U:
        return None
    return text(max(abs(moved.shift.lower), abs(moved.shift.upper)) / point.U)
