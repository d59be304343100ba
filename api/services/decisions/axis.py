"""The part of the axis that a picture of a decision shows, and what lies where on it.

Choice: all limits and zones are shown, and the result as far as the limits stay readable. Exact
fractions throughout. Not checked: anything; the numbers come from a decision that was made.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from api.rules.decide import Decision, breakpoints, verdict
from api.rules.rule import NO_STATEMENT

# How far beyond the limits a result is followed, in widths of the part that the limits need; that
# part is narrow where there is a limit on one side only.
_FOLLOWED, _FOLLOWED_FROM_ONE_SIDE = 2, 10

Stretch = tuple[Fraction, Fraction]


def view(decision: Decision) -> Stretch:
    """Return the ends of the axis: all limits and zones, the result as far as it is followed."""
    limits, accepted = decision.limits, decision.acceptance
    by = decision.branch.rule
    edges = {Fraction(e) for e in (breakpoints(limits, accepted, by.zones) if by else ())}
    edges |= {Fraction(e) for e in (limits.lower, limits.upper) if e is not None}
    value, U = Fraction(decision.value), Fraction(decision.U)
    low, high = min(edges), max(edges)
    scale, followed = high - low, _FOLLOWED
    if not limits.two_sided:
        scale, followed = max(scale, 2 * U), _FOLLOWED_FROM_ONE_SIDE
    if scale == 0:
        scale = abs(value - low) or abs(low) / 10 or Fraction(1)
    start = min(low, max(value - U, low - followed * scale))
    end = max(high, min(value + U, high + followed * scale))
    start, end = min(start, low - scale / 4), max(end, high + scale / 4)
    pad = (end - start) / 16
    return start - pad, end + pad


def zones_between(
    decision: Decision, low: Fraction, high: Fraction
) -> Iterator[tuple[Fraction, Fraction, str]]:
    """Return the stretches on which the verdict is one, from left to right, with it."""
    by = decision.branch.rule
    if by is None:
        yield low, high, NO_STATEMENT
        return
    zones = by.zones
    found = breakpoints(decision.limits, decision.acceptance, zones)
    edges = {Fraction(edge) for edge in found}
    inner = sorted(edge for edge in edges if low < edge < high)
    start, current = low, ""
    for left, right in pairwise([low, *inner, high]):
        zone = verdict((left + right) / 2, decision.limits, decision.acceptance, zones)
        if current and zone != current:
            yield start, left, current
            start = left
        current = zone
    yield start, high, current


def guard_bands(decision: Decision) -> dict[str, Stretch]:
    """Return the guard bands that have a width, each no wider than the tolerance interval."""
    limits, accepted = decision.limits, decision.acceptance
    found: dict[str, Stretch] = {}
    for side, limit, w, other, inwards in (
        ("lower", limits.lower, accepted.guard_lower, limits.upper, 1),
        ("upper", limits.upper, accepted.guard_upper, limits.lower, -1),
    ):
        if limit is None or not w:
            continue
        edge = Fraction(limit) + inwards * Fraction(w)
        if other is not None:
            edge = (min if inwards > 0 else max)(edge, Fraction(other))
        found[side] = (min(Fraction(limit), edge), max(Fraction(limit), edge))
    return found
