"""What is written about a certificate that the faults reach: its points, verdicts, uncertainty?

DESIGN section 9, "Entry", with what section 10 adds. Effects of several faults are added point by
point, and their uncertainties added in squares.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from oracle_numbers import NEWTONS, number, root, text
from oracle_one_fault import Finding, OneFault
from oracle_records import Json, Row
from oracle_verdicts import reachable, verdict, worst


@dataclass(frozen=True)
class Effect:
    """Effect of all faults at one point; `low` and `high` bound the delta; W per fault."""

    unknown: bool
    low: Fraction
    high: Fraction
    weights: tuple[Fraction, ...]


def combined(row: Row, findings: list[Finding], walks: list[OneFault], index: int) -> Effect:
    """Sum of the effects of all faults at one row."""
    values = [
        walk.effects.shown(finding.values[index], row.force)
        for finding, walk in zip(findings, walks, strict=True)
    ]
    middle = sum((value.delta for value in values), Fraction(0))
    half = Fraction(0)
    for value, walk in zip(values, walks, strict=True):
        if walk.effects.kind == "interval":
            half += abs(value.share) * number(walk.fault["bound_rel"])
    weights = tuple(value.weight for value in values)
    return Effect(any(v.unknown for v in values), middle - half, middle + half, weights)


def entry_class(findings: list[Finding]) -> str:
    """Class under all faults together: an effect of a single one is an effect."""
    kinds = {finding.kind for finding in findings}
    for kind in ("indeterminate", "affected"):
        if kind in kinds:
            return kind
    return "exposed_zero_effect"


def shift(row: Row, delta: Fraction) -> Fraction | None:
    """Corrected error less error, in the unit of the point (percentage points for relative)."""
    if delta == 0:
        return Fraction(0)
    if row.relative:
        assert row.error is not None
        return ((1 + row.error / 100) / (1 + delta) - 1) * 100 - row.error
    return None if row.applied is None else -delta * row.applied


def u_after(row: Row, effect: Effect, walks: list[OneFault]) -> tuple[Fraction | None, bool]:
    """Expanded uncertainty after correction, and whether it is exact.

    It is that of the point if no fault states its own, None if the point has none.
    """
    if row.u is None:
        return None, True
    squares = (row.u / row.k) ** 2
    for weight, walk in zip(effect.weights, walks, strict=True):
        if walk.effects.variance is None or weight == 0:
            continue
        size = Fraction(100) if row.relative else abs(row.applied or Fraction(0))
        if walk.effects.by_force:
            # The fault's own uncertainty is a force: bring it to the unit of the point.
            assert row.force
            size = size / abs(row.force) if row.relative else 1 / NEWTONS[row.unit or "N"]
        squares += (weight * size) ** 2 * walk.effects.variance
    return root(row.k**2 * squares)


def points(
    findings: list[Finding], walks: list[OneFault], rows: list[Row], kind: str
) -> list[Json]:
    """All points of an entry."""
    return [
        point(row, combined(row, findings, walks, index), walks, kind)
        for index, row in enumerate(rows)
    ]


def point(row: Row, effect: Effect, walks: list[OneFault], kind: str) -> Json:
    """One point of an entry."""
    before = row.reported
    if before is None and row.error is not None:
        before = verdict(row.error, row.u, row.limits, row.rule)
    shown: Json = {"point": row.shown_point, "stage": row.stage, "unit": row.unit}
    if effect.unknown or shift(row, effect.low) is None or shift(row, effect.high) is None:
        shown |= {"delta_rel": None, "shift": None, "corrected_error": None}
        return shown | {"verdict_before": before, "verdict_after": None, "changed": None}
    # Two ends, low delta first: the higher the delta, the lower the corrected error.
    ends = sorted(found for d in (effect.low, effect.high) if (found := shift(row, d)) is not None)
    effective = kind != "exposed_zero_effect"
    u, exact = u_after(row, effect, walks) if effective else (row.u, True)
    listed_open = effective and any(w.effects.kind == "interval" for w in walks)
    if listed_open and row.force != 0:
        shown["delta_rel"] = {"lower": text(effect.low), "upper": text(effect.high)}
        shown["shift"] = {"lower": text(ends[0]), "upper": text(ends[1])}
    else:
        shown["delta_rel"] = text(effect.low)
        shown["shift"] = text(ends[1])
    possible: list[str] = []
    if row.error is None:
        # By how much it is wrong is known; what it was is not.
        shown["corrected_error"] = None
    else:
        bottom, top = (row.error + end for end in ends)
        shown["corrected_error"] = text(top)
        if listed_open and row.force != 0:
            shown["corrected_error"] = {"lower": text(bottom), "upper": text(top)}
        possible = reachable(bottom, top, u, row.limits, row.rule)
    after = possible[0] if len(possible) == 1 else None
    if effective and any(w.effects.variance is not None for w in walks):
        shown["U_after"] = None if u is None else text(u, exact)
    if listed_open:
        shown["verdicts_possible"] = possible
    shown["verdict_before"], shown["verdict_after"] = before, after
    shown["changed"] = None if before is None or after is None else before != after
    return shown


def overall(shown: list[Json]) -> Json:
    """Worst verdict before and after, per stage; after is null while a point is still open."""
    stages: Json = {}
    for stage in dict.fromkeys(p["stage"] for p in shown):
        here = [p for p in shown if p["stage"] == stage]
        before = [p["verdict_before"] for p in here if p["verdict_before"]]
        after = [p["verdict_after"] for p in here if p["verdict_after"]]
        is_open = any(
            p["delta_rel"] is None or len(p.get("verdicts_possible", [])) > 1 for p in here
        )
        stages[stage] = {"before": worst(before), "after": None if is_open else worst(after)}
    return stages
