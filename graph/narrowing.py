"""Which check moves the start of the suspect period, and why the others do not.

A passed check is later good evidence only if it could have seen the fault: it was independent of
the faulty item, covered the faulty range, and its acceptance limit and uncertainty together stay
below the smallest magnitude of the fault. Once such a capable check has failed, a later pass moves
nothing. Intervals, unknown effects, drifts and faults of data are never narrowed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from graph.faults import Fault
from graph.model import Check, Window

FULL_RANGE = "full range"
Forces = Sequence[Fraction]


@dataclass(frozen=True, slots=True)
class Considered:
    """One check inside the window.

    Attributes
    ----------
    check : Check
        The check.
    moves_start : bool
        Whether it moved the start of the window.
    why : str
        The reason in words.
    """

    check: Check
    moves_start: bool
    why: str


def narrow(
    fault: Fault, checks: Sequence[Check], used: Forces | None
) -> tuple[Window, list[Considered]]:
    """Narrow the window of a fault by the checks of the faulty item.

    Parameters
    ----------
    fault : Fault
        The fault; its window is the widest one.
    checks : sequence of Check
        Checks of the faulty item, in any order.
    used : sequence of Fraction or None
        Recorded forces (N) at which the item was ever used, zero left out, rising; if any.

    Returns
    -------
    tuple of (Window, list of Considered)
        The checks inside the window, in order of time.
    """
    widest = fault.window()
    inside = [check for check in checks if _strictly_inside(check, widest)]
    inside.sort(key=lambda check: (check.at.start_us, check.passed, check.code))
    start = widest.start_us
    failed_by: str | None = None
    considered: list[Considered] = []
    for check in inside:
        blind = _why_blind(fault, check, used)
        if blind is not None:
            considered.append(Considered(check, False, blind))
        elif not check.passed:
            failed_by = failed_by or check.code
            considered.append(Considered(check, False, "failed: the fault was present"))
        elif failed_by is not None:
            why = f"passed after the capable check {failed_by} had failed"
            considered.append(Considered(check, False, why))
        else:
            start = check.at.start_us
            considered.append(Considered(check, True, "independent, capable and passed"))
    return replace(widest, start_us=start), considered


def _strictly_inside(check: Check, window: Window) -> bool:
    after = window.start_us is None or check.at.start_us > window.start_us
    return after and (window.end_us is None or check.at.start_us <= window.end_us)


def _why_blind(fault: Fault, check: Check, used: Forces | None) -> str | None:
    """Why the check could not have seen the fault, or None if it could."""
    smallest = fault.smallest(used)
    if smallest is None:
        return "a fault of this kind is never narrowed by a check"
    if check.independent is None:
        return "its record does not say whether it was independent"
    if not check.independent:
        return "not independent of the faulty item"
    if fault.only is not None and fault.only.mode not in (None, check.mode):
        return "not made in the mode to which the fault is limited"
    if check.limit_rel is None or check.U_rel is None:
        return "its acceptance limit or uncertainty is not recorded"
    if not _covers(fault, check, used):
        return "does not cover the faulty range"
    if check.limit_rel + check.U_rel >= smallest:
        return "limit and uncertainty together are not below the smallest fault"
    return None


def _covers(fault: Fault, check: Check, used: Forces | None) -> bool:
    if check.covers_n is None:
        return False
    if isinstance(check.covers_n, str):
        return check.covers_n == FULL_RANGE
    forces = check.covers_n
    segments = fault.faulty_segments()
    if segments is not None:
        return all(any(segment.holds(force) for force in forces) for segment in segments)
    if not used:
        return False
    return any(used[0] <= force <= used[-1] for force in forces)
