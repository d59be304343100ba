"""The window of a fault: which checks narrow it, and what else a person should know of it."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from api.services.base.record import Record
from api.services.recalls.faults import Reported
from api.services.recalls.independence import covered, resting
from api.services.recalls.reading import Traced
from api.store.records import CheckRow
from api.store.sources import Source
from graph.model import ONE, Calibration, Check, Use
from graph.moments import Moment, text_of
from graph.narrowing import Considered, narrow
from graph.suspects import SuspectWindow


def narrowed(
    references: Traced, reported: Reported, direct: Iterable[Calibration]
) -> tuple[SuspectWindow, list[Considered]]:
    """Narrow the window of a fault by the checks of its item.

    `references` reads what the references of checks rested on; `direct` are the calibrations that
    ever used the item, whose forces are its used range.
    """
    rows, direct = _checks(references.source, reported), list(direct)
    forces = _used_forces(reported, direct)
    dependent = resting(references, rows, reported, direct, forces)
    checks = [_check(row, row.code in dependent) for row in rows]
    window, considered = narrow(reported.fault, checks, sorted(forces) or None)
    return SuspectWindow(reported.fault, window, reported.case.holders), considered


def needs_used_range(source: Source, reported: Reported) -> bool:
    """Whether the range of all uses must be known to judge a check.

    It must where a check covers single forces, and where it covers all of them against a reference
    whose certificates differ in range.
    """
    checks = _checks(source, reported)
    if reported.fault.sized_by_use:
        return bool(checks)
    if any(isinstance(covered(row), tuple) for row in checks):
        return True
    against = {row.against_id for row in checks if row.against_id is not None}
    return bool(against) and bool(source.ambiguous_items(sorted(against)))


def window_answer(reported: Reported, case: SuspectWindow, considered: list[Considered]) -> Record:
    """Return the window as the API shows it, with the checks that were weighed."""
    window = case.window
    return {
        "item": reported.fault.item,
        "start": None if window.start_us is None else text_of(window.start_us),
        "start_inclusive": window.start_inclusive,
        "end": None if window.end_us is None else text_of(window.end_us),
        "end_inclusive": window.end_inclusive,
        "checks": [
            {
                "check": one.check.code,
                "at": text_of(one.check.at.start_us),
                "moves_start": one.moves_start,
                "why": one.why,
            }
            for one in considered
        ],
    }


def recalibration_notes(source: Source, reported: Reported, case: SuspectWindow) -> list[str]:
    """Say which recalibrations of the faulty item lie inside the window; they do not end it."""
    if reported.item_key is None:
        return []
    rows = source.recalibrations(reported.item_key, case.window.start_us, case.window.end_us)
    return [
        f"{reported.fault.item} was recalibrated inside the window ({row.number} rev. "
        f"{row.revision}, {row.performed_at}); this does not end the window by itself: set "
        "isolated_at or last_good_at if it does"
        for row in sorted(rows, key=lambda row: (row.performed_us, row.number))
    ]


def role_notes(source: Source, reported: Reported) -> list[str]:
    """Say which roles a fault is limited to that no record of its item has: a slip clears all."""
    only = reported.fault.only
    if only is None or only.roles is None or not reported.item_keys:
        return []
    known = source.roles_of(sorted(reported.item_keys))
    return [
        f'no record has {reported.fault.item} in the role "{role}", to which the fault is limited; '
        f"recorded are: {', '.join(sorted(known)) or 'none'}"
        for role in sorted(only.roles - known)
    ]


def _checks(source: Source, reported: Reported) -> list[CheckRow]:
    """Checks of the faulty item by time."""
    found = [] if reported.item_key is None else source.checks_of(reported.item_key)
    return sorted(found, key=lambda check: (check.performed_us, check.code))


def _check(check: CheckRow, rests_on_fault: bool) -> Check:
    return Check(
        code=check.code,
        at=Moment(check.performed_us, check.performed_end_us),
        passed=check.result == "pass",
        limit_rel=_fraction(check.acceptance_limit_rel),
        U_rel=_fraction(check.U_rel),
        independent=bool(check.independent) and not rests_on_fault,
        covers_n=covered(check),
        mode=check.mode,
    )


def _used_forces(reported: Reported, direct: Iterable[Calibration]) -> set[Fraction]:
    """Forces that the faulty item ever carried, by its share in assemblies."""
    names = reported.case.names
    return {
        force
        for calibration in direct
        for use in calibration.uses
        if use.item in names
        for share in _shares(use, reported.fault.item)
        for point in calibration.points
        if (force := point.carried(share).force_n)
        and (use.points is None or point.key in use.points)
    }


def _shares(use: Use, item: str) -> list[Fraction]:
    """Shares of the force on a used item that the faulty one carried; none if it was not there."""
    if use.item == item:
        return [ONE]
    return [
        ONE if one.fault_share is None else one.fault_share for one in use.held if one.part == item
    ]


def _fraction(value: Any) -> Fraction | None:
    return None if value is None else Fraction(value)
