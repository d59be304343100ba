"""Results drawn against their limits: each on a line of its own, in shares of its own tolerance.

Choice: the limits of every point stand at the same places, so that results at 5 kN and 500 kN can
be compared by eye; the numbers stand beside it in a table. A result before is an open ring, one
after a full one, an arrow leads from the one to the other, and bars show U. What lies far outside
is held at the edge and marked with a chevron. Places are floats; nothing is decided by them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from api.services.certificates.statements import STAGES as STAGE_NAMES
from api.services.certificates.statements import Row

WIDTH, LEFT, RIGHT, STEP = 400.0, 102.0, 10.0, 26.0
TOP, BOTTOM = 26.0, 8.0
# The limits are at 1; this much of their distance is shown beyond them.
BEYOND = 0.55
MOST_DRAWN = 60
Pair = tuple[Row, Mapping[str, Any] | None]


@dataclass(slots=True)
class Place:
    """A value on the axis with its bar; `off` says at which edge it was held."""

    x: float
    low: float | None = None
    high: float | None = None
    off: str = ""


@dataclass(slots=True)
class Line:
    """One point: its label, height, and its places before and after."""

    y: float
    label: str
    before: Place | None = None
    after: list[Place] = field(default_factory=list)
    changed: bool = False


@dataclass(slots=True)
class Drawing:
    """Everything that the template draws; `left_out` counts points there was no room for."""

    width: float
    height: float
    lower: float | None
    upper: float | None
    middle: float
    lines: list[Line]
    left_out: int
    with_after: bool
    foot: float


def drawing(pairs: Sequence[Pair]) -> Drawing | None:
    """Return the drawing of results, each with its point of a recall's entry or None.

    None if no result has limits to be drawn against.
    """
    drawable = [(row, moved) for row, moved in pairs if _half(row) and row.error is not None]
    if not drawable:
        return None
    shown = drawable[:MOST_DRAWN]
    lines = []
    y = TOP
    for row, moved in shown:
        y += STEP
        lines.append(_line(row, moved, y - STEP / 2))
    one_sided = all(row.lower is None or row.upper is None for row, _ in shown)
    return Drawing(
        WIDTH,
        y + BOTTOM,
        None if one_sided and all(row.lower is None for row, _ in shown) else _x(-1),
        None if one_sided and all(row.upper is None for row, _ in shown) else _x(1),
        _x(0),
        lines,
        len(drawable) - len(shown),
        any(line.after for line in lines),
        y + 2,
    )


def _line(row: Row, moved: Mapping[str, Any] | None, y: float) -> Line:
    stage = STAGE_NAMES.get(row.stage, "").rstrip(": ").lower()
    # A number with many digits would run into the drawing.
    name = row.applied if row.applied is not None and row.unit != "%" else row.point
    label = f"{name} {row.unit}" if name == row.applied and row.unit else name
    line = Line(y, f"{label}{', ' if stage else ''}{stage}"[:19])
    line.before = _place(row, row.error, row.U)
    if moved is not None:
        corrected = moved["corrected_error"]
        U = moved.get("U_after", row.U)
        ends = [corrected["lower"], corrected["upper"]] if isinstance(corrected, dict) else None
        after = ends if ends is not None else [corrected]
        if any(one is not None and one != row.error for one in after):
            line.after = [place for one in after if (place := _place(row, one, U)) is not None]
        line.changed = bool(moved["changed"])
    return line


def _half(row: Row) -> Fraction | None:
    """Half the tolerance, or the size of the one limit; None without one to divide by."""
    if row.lower is not None and row.upper is not None:
        return (Fraction(row.upper) - Fraction(row.lower)) / 2 or None
    limit = row.upper if row.lower is None else row.lower
    return None if limit is None else abs(Fraction(limit)) or None


def _place(row: Row, value: str | None, U: str | None) -> Place | None:
    half = _half(row)
    if value is None or half is None:
        return None
    middle = Fraction(0)
    if row.lower is not None and row.upper is not None:
        middle = (Fraction(row.upper) + Fraction(row.lower)) / 2
    share = float((Fraction(value) - middle) / half)
    edge = 1 + BEYOND
    place = Place(_x(max(-edge, min(edge, share))))
    if abs(share) > edge:
        place.off = "low" if share < 0 else "high"
        return place
    if U is not None:
        reach = float(Fraction(U) / half)
        place.low, place.high = _x(max(-edge, share - reach)), _x(min(edge, share + reach))
    return place


def _x(share: float) -> float:
    """Place on the sheet of a share of the tolerance, the middle being 0."""
    room = WIDTH - LEFT - RIGHT
    return round(LEFT + room * (share + 1 + BEYOND) / (2 * (1 + BEYOND)), 2)
