"""Which certificates does a fault touch, and what becomes of each? A slow reference answer.

Test oracle: the obvious reading of DESIGN sections 3, 5 and 9, sharing no code with the product.
Every fault is walked alone; effects of several faults are then added point by point, and their
uncertainties added in squares. Not checked: whether the laboratory file is lawful.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from oracle_laboratory import Certificate, Json, Laboratory, Row
from oracle_numbers import number, root, text
from oracle_one_fault import CLEARING, Finding, OneFault
from oracle_verdicts import reachable, verdict, worst

PATHS_SHOWN = 50
LISTS = ("affected", "exposed_zero_effect", "indeterminate")


@dataclass(frozen=True)
class Effect:
    """Effect of all faults at one point; `low` and `high` bound the delta; W per fault."""

    unknown: bool
    low: Fraction
    high: Fraction
    weights: tuple[Fraction, ...]

    @property
    def moves(self) -> bool:
        """True if the effect is known and not zero."""
        return not self.unknown and (self.low != 0 or self.high != 0)


def recall(laboratory: Json, fault: Json | list[Json]) -> Json:
    """Answer one fault, or several at once.

    Returns window (a list of windows if a list of faults was given), affected,
    exposed_zero_effect, indeterminate, traced_not_recalled and cleared.
    Raises ValueError for a date-time without zone, a use that names an unknown certificate, or a
    calibration that rests on itself.
    """
    lab = Laboratory(laboratory)
    faults = fault if isinstance(fault, list) else [fault]
    walks = [OneFault(lab, one) for one in faults]
    windows = [walk.window.as_json() for walk in walks]
    answer: Json = {"window": windows if isinstance(fault, list) else windows[0]}
    lists: dict[str, list[tuple[Any, Json]]] = {
        name: [] for name in (*LISTS, "traced_not_recalled", "cleared")
    }
    for certificate in lab.certificates:
        findings = [walk.find(certificate) for walk in walks]
        order = (certificate.number, certificate.revision, certificate.key[1])
        if any(finding.kind for finding in findings):
            generation = min(f.generation for f in findings if f.kind)
            kind = entry_class(findings, walks)
            name = kind if certificate.status == "issued" else "traced_not_recalled"
            shown = entry(certificate, findings, walks, kind)
            lists[name].append(((generation, *order), shown))
        elif any(finding.cleared for finding in findings):
            lists["cleared"].append((order, cleared_entry(certificate, findings)))
    for name, entries in lists.items():
        answer[name] = [shown for _, shown in sorted(entries, key=lambda pair: pair[0])]
    return answer


def cleared_entry(certificate: Certificate, findings: list[Finding]) -> Json:
    """Entry of a direct user that no fault reaches."""
    if certificate.status != "issued":
        reason = "status"
    else:
        reason = min((f.cleared for f in findings if f.cleared), key=CLEARING.index)
    return {
        "certificate": certificate.number,
        "revision": certificate.revision,
        "item": certificate.item,
        "class": "cleared",
        "reason": reason,
    }


def combined(findings: list[Finding], walks: list[OneFault], index: int) -> Effect:
    """Sum of the effects of all faults at one row."""
    values = [f.values[index] for f in findings]
    middle = sum((value.delta for value in values), Fraction(0))
    half = Fraction(0)
    for value, walk in zip(values, walks, strict=True):
        if walk.kind == "interval":
            half += abs(value.share) * number(walk.fault["bound_rel"])
    weights = tuple(value.weight for value in values)
    return Effect(any(v.unknown for v in values), middle - half, middle + half, weights)


def entry_class(findings: list[Finding], walks: list[OneFault]) -> str:
    """Class under all faults together."""
    if any(finding.kind == "indeterminate" for finding in findings):
        return "indeterminate"
    rows = len(findings[0].values)
    moved = any(combined(findings, walks, index).moves for index in range(rows))
    return "affected" if moved else "exposed_zero_effect"


def entry(
    certificate: Certificate, findings: list[Finding], walks: list[OneFault], kind: str
) -> Json:
    """Entry of a certificate that the faults reach."""
    paths = sorted({p for f in findings for p in f.paths}, key=lambda path: (len(path), path))
    shown: Json = {
        "certificate": certificate.number,
        "revision": certificate.revision,
        "item": certificate.item,
        "class": kind if certificate.status == "issued" else "traced_not_recalled",
        "generation": min(f.generation for f in findings if f.kind),
        "reason_paths": [list(path) for path in paths[:PATHS_SHOWN]],
        "path_count": len(paths),
    }
    if certificate.status != "issued":
        shown["reason"] = certificate.status
        return shown
    if certificate.external:
        shown["external"] = True
    if certificate.date_only:
        shown["date_only"] = True
    shown["points"] = [
        point(row, combined(findings, walks, index), walks, kind)
        for index, row in enumerate(certificate.rows)
    ]
    if kind == "indeterminate":
        return shown | {"overall": None, "verdict_changes": None}
    if any(len(p.get("verdicts_possible", [])) > 1 for p in shown["points"]):
        shown["could_change"] = True
    shown["overall"] = overall(shown["points"])
    changes = [p["changed"] for p in shown["points"]]
    shown["verdict_changes"] = True if True in changes else (None if None in changes else False)
    return shown


def overall(points: list[Json]) -> Json:
    """Worst verdict before and after, per stage; after is null while one is still open."""
    stages: Json = {}
    for stage in dict.fromkeys(p["stage"] for p in points):
        here = [p for p in points if p["stage"] == stage]
        before = [p["verdict_before"] for p in here if p["verdict_before"]]
        after = [p["verdict_after"] for p in here if p["verdict_after"]]
        is_open = any(len(p.get("verdicts_possible", [])) > 1 for p in here)
        stages[stage] = {"before": worst(before), "after": None if is_open else worst(after)}
    return stages


def corrected(row: Row, delta: Fraction) -> Fraction | None:
    """Error after correction, in the unit of the point (percentage points for relative)."""
    if row.error is None:
        return None
    if delta == 0:
        return row.error
    if row.relative:
        return ((1 + row.error / 100) / (1 + delta) - 1) * 100
    return None if row.applied is None else row.error - delta * row.applied


def u_after(row: Row, effect: Effect, walks: list[OneFault]) -> tuple[Fraction | None, bool]:
    """Expanded uncertainty after correction, and whether it is exact.

    It is that of the point if no fault states its own, None if the point has none.
    """
    if row.u is None:
        return None, True
    size = Fraction(100) if row.relative else abs(row.applied or Fraction(0))
    squares = (row.u / row.k) ** 2
    for weight, walk in zip(effect.weights, walks, strict=True):
        if walk.fault.get("U_delta_rel") is not None:
            own = number(walk.fault["U_delta_rel"]) / number(walk.fault.get("U_delta_k") or 2)
            squares += (weight * size * own) ** 2
    return root(row.k**2 * squares)


def point(row: Row, effect: Effect, walks: list[OneFault], kind: str) -> Json:
    """One point of an entry."""
    before = row.reported
    if before is None and row.error is not None:
        before = verdict(row.error, row.u, row.limits, row.rule)
    shown: Json = {"point": row.shown_point, "stage": row.stage, "unit": row.unit}
    u, exact = (row.u, True) if kind == "exposed_zero_effect" else u_after(row, effect, walks)
    # Two ends, low delta first: the higher the delta, the lower the corrected error.
    ends = (corrected(row, effect.low), corrected(row, effect.high))
    if effect.unknown or None in ends:
        shown |= {"delta_rel": None, "shift": None, "corrected_error": None}
        return shown | {"verdict_before": before, "verdict_after": None, "changed": None}
    top, bottom = ends
    assert top is not None
    assert bottom is not None
    assert row.error is not None
    if bottom > top:
        top, bottom = bottom, top
    listed_open = kind != "exposed_zero_effect" and any(w.kind == "interval" for w in walks)
    as_interval = listed_open and row.force != 0
    if as_interval:
        shown["delta_rel"] = {"lower": text(effect.low), "upper": text(effect.high)}
        shown["shift"] = {"lower": text(bottom - row.error), "upper": text(top - row.error)}
        shown["corrected_error"] = {"lower": text(bottom), "upper": text(top)}
    else:
        shown["delta_rel"] = text(effect.low)
        shown["shift"] = text(top - row.error)
        shown["corrected_error"] = text(top)
    possible = reachable(bottom, top, u, row.limits, row.rule)
    after = possible[0] if len(possible) == 1 else None
    if kind == "affected" and any(w.fault.get("U_delta_rel") is not None for w in walks):
        shown["U_after"] = None if u is None else text(u, exact)
    if listed_open:
        shown["verdicts_possible"] = possible
    shown["verdict_before"], shown["verdict_after"] = before, after
    undecided = after is None and (before is not None or len(possible) > 1)
    shown["changed"] = None if undecided else before != after
    return shown


__all__ = ["recall"]
