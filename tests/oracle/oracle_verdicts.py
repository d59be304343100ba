"""Which verdict does an error get, and which verdicts can an interval of errors get?

The three built-in rules on limits `lower` and `upper` (either may be None). A value equal to a
limit is inside; an edge between zones belongs to the better zone (DESIGN sections 4 and 9).
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

VERDICTS = ("pass", "conditional_pass", "conditional_fail", "fail")
Limits = tuple[Fraction | None, Fraction | None]


def inside(error: Fraction, limits: Limits, guard: Fraction) -> bool:
    """True if the error lies within the limits moved inwards by `guard`."""
    lower, upper = limits
    return (lower is None or error >= lower + guard) and (upper is None or error <= upper - guard)


def verdict(error: Fraction, u: Fraction | None, limits: Limits | None, rule: str) -> str | None:
    """Verdict of one error; None where there are no limits, or no U for a rule that needs it."""
    if limits is None:
        return None
    if rule == "simple":
        return "pass" if inside(error, limits, Fraction(0)) else "fail"
    if u is None:
        return None
    if rule == "guard_U":
        return "pass" if inside(error, limits, u) else "fail"
    if rule != "four_state_U":
        raise ValueError(f"the oracle does not know the rule {rule}")
    if inside(error, limits, u):
        return "pass"
    if inside(error, limits, Fraction(0)):
        return "conditional_pass"
    return "conditional_fail" if inside(error, limits, -u) else "fail"


def reachable(
    low: Fraction, high: Fraction, u: Fraction | None, limits: Limits | None, rule: str
) -> list[str]:
    """Every verdict met by an error anywhere in [low, high], best first."""
    guard = u if u is not None else Fraction(0)
    edges = [e + s * guard for e in limits or () if e is not None for s in (-1, 0, 1)]
    stops = sorted({low, high, *(e for e in edges if low <= e <= high)})
    tries = stops + [(a + b) / 2 for a, b in pairwise(stops)]
    found = {verdict(error, u, limits, rule) for error in tries}
    return [name for name in VERDICTS if name in found]


def worst(verdicts: list[str]) -> str | None:
    """The worst of the verdicts, None of none."""
    return max(verdicts, key=VERDICTS.index) if verdicts else None
