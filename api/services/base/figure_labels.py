"""Places for the words of the limits above the axis, so that none covers another.

Choice: every label stands beside the thin line that leads up from its limit, to the left or right,
in one of a few rows; of all combinations the tidiest is taken. There are four labels at most.

Not checked: that the words fit where numbers are longer than the axis; they then run over its end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from api.rules.decide import Decision
from api.rules.exact import Number
from api.services.base.figures import width_of

_ROWS, _APART, _BESIDE = 4, 6.0, 3.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A limit on the axis: its id, its number, its words and whether it is a tolerance limit."""

    gid: str
    number: Number
    words: str
    tolerance: bool


@dataclass(frozen=True, slots=True)
class Label:
    """Where the words of a mark stand: the row above the axis and the ends, in points."""

    mark: Mark
    row: int
    left: float
    right: float
    line: float


def marks_of(decision: Decision, write: Callable[[Number], str]) -> Iterator[Mark]:
    """Return the limits of a decision to be drawn; `write` gives a number with its unit."""
    accepted = decision.acceptance
    for side in ("lower", "upper"):
        limit: Number | None = getattr(decision.limits, side)
        inner: Number | None = None if accepted.empty else getattr(accepted, side)
        if limit is None:
            continue
        if inner == limit:
            words = f"tolerance = acceptance limit {write(limit)}"
            yield Mark(f"tolerance-{side}", limit, words, True)
            continue
        yield Mark(f"tolerance-{side}", limit, f"tolerance limit {write(limit)}", True)
        if inner is not None:
            words = f"acceptance limit {write(inner)}"
            yield Mark(f"acceptance-{side}", inner, words, False)


def placed(lines: Sequence[tuple[Mark, float]], low: float, high: float) -> list[Label]:
    """Find places for the words of marks, given with their places on the axis, all in points.

    No words stand over others or over another's line, if that can be; all lie from low to high.
    """
    choices = [
        [
            Label(mark, row, left, left + width_of(mark.words), x)
            for row in range(_ROWS)
            for left in (x + _BESIDE, x - _BESIDE - width_of(mark.words))
            if left >= low and left + width_of(mark.words) <= high
        ]
        or [Label(mark, 0, 0.0, width_of(mark.words), x)]
        for mark, x in lines
    ]
    best = min(product(*choices), key=_untidiness)
    if _untidiness(best)[0]:
        return [
            Label(found.mark, row, found.left, found.right, found.line)
            for row, found in enumerate(best)
        ]
    return list(best)


def _untidiness(labels: Sequence[Label]) -> tuple[int, int, float]:
    """Return how many words collide, how high they pile up, how many stand on the wrong side."""
    collisions = 0
    for one in labels:
        for other in labels:
            if one is other:
                continue
            same = one.row == other.row
            if same and one.left < other.right + _APART and other.left < one.right + _APART:
                collisions += 1
            if one.row < other.row and one.left - 2 < other.line < one.right + 2:
                collisions += 1
            if same and one.left - 2 < other.line < one.right + 2:
                collisions += 1
    height = sum(label.row for label in labels)
    outwards = sum(
        (label.left >= label.line) != label.mark.gid.endswith("upper") for label in labels
    )
    return collisions, height, outwards
