"""The window of a fault: which checks narrow it, and what else a person should know of it."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from fractions import Fraction
from typing import Any

from api.services.base.record import Record
from api.services.recalls.faults import Reported
from api.services.recalls.reading import Traced
from api.store.records import CheckRow
from api.store.sources import Source
from graph.model import ONE, Calibration, Check, Use
from graph.moments import Moment, text_of
from graph.narrowing import Considered, Range, narrow
from graph.suspects import SuspectWindow


def narrowed(
    references: Traced, reported: Reported, direct: Iterable[Calibration]
) -> tuple[SuspectWindow, list[Considered]]:
    """Narrow the window of a fault by the checks of its item.

    `references` reads what the references of checks rested on; `direct` are the calibrations that
    ever used the item, whose forces are its used range.
    """
    checks = [
        _check(row, _rests_on_fault(references, row, reported))
        for row in _checks(references.source, reported)
    ]
    used = _used_range(reported, direct)
    window, considered = narrow(reported.fault, checks, used)
    return SuspectWindow(reported.fault, window, reported.case.holders), considered


def needs_used_range(source: Source, reported: Reported) -> bool:
    """Whether a check covers single forces, so that the range of all uses must be known."""
    if reported.fault.by_force:
        return bool(_checks(source, reported))
    return any(isinstance(_covers(row), list) for row in _checks(source, reported))


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


def _covers(check: CheckRow) -> Any:
    return None if check.covers is None else json.loads(check.covers)


def _check(check: CheckRow, rests_on_fault: bool) -> Check:
    covers = _covers(check)
    if isinstance(covers, list):
        # Few checks name single forces, and a first list does not wait for the table of units.
        from api.rules.units import parse_quantity, to_newton

        covers = tuple(to_newton(*parse_quantity(force)) for force in covers)
    return Check(
        code=check.code,
        at=Moment(check.performed_us, check.performed_end_us),
        passed=check.result == "pass",
        limit_rel=_fraction(check.acceptance_limit_rel),
        U_rel=_fraction(check.U_rel),
        independent=bool(check.independent) and not rests_on_fault,
        covers_n=covers,
        mode=check.mode,
    )


def _rests_on_fault(traced: Traced, check: CheckRow, reported: Reported) -> bool:
    """Whether the reference of a check itself rested, or may have, on the faulty item then."""
    if check.against_id is None:
        return False
    if check.against_id in reported.item_keys:
        return True
    source, names = traced.source, reported.case.names
    code, _ = source.item_words([check.against_id])[check.against_id]
    traced.histories.learn({check.against_id: code})
    at, mode = Moment(check.performed_us, check.performed_end_us), check.mode
    own = source.certificate_in_force(check.against_id, at.end_us, mode)
    rest = traced.histories.rest(code, at, mode, own)
    # What it may have carried instead counts, too: doubt must not clear anybody.
    asked = [Use(code, "against", at, source=own, doubts=rest.doubts, held=rest.held)]
    # What only confirmed limits gave no value, so that no check is less independent for it.
    seen: set[int] = set()
    while asked:
        if any(_is_faulty(use, reported, names) for use in asked):
            return True
        keys = {link for use in asked for link in use.links(confirmed=False)} - seen
        seen |= keys
        traced.read(keys)
        asked = [use for key in keys for use in traced.calibrations[key].uses]
    return False


def _is_faulty(use: Use, reported: Reported, names: Collection[str]) -> bool:
    """Whether a use is one of what is faulty, or of something that held it."""
    if use.item == reported.fault.item:
        return use.may_be_on(reported.fault.channel)
    return use.item in names or any(one.part in names for one in use.held)


def _used_range(reported: Reported, direct: Iterable[Calibration]) -> Range | None:
    """Smallest and largest force that the faulty item ever carried, by its share in assemblies."""
    names = reported.case.names
    forces = [
        force
        for calibration in direct
        for use in calibration.uses
        if use.item in names
        for share in _shares(use, reported.fault.item)
        for point in calibration.points
        if (force := point.carried(share).force_n)
        and (use.points is None or point.key in use.points)
    ]
    return (min(forces), max(forces)) if forces else None


def _shares(use: Use, item: str) -> list[Fraction]:
    """Shares of the force on a used item that the faulty one carried; none if it was not there."""
    if use.item == item:
        return [ONE]
    return [
        ONE if one.fault_share is None else one.fault_share for one in use.held if one.part == item
    ]


def _fraction(value: Any) -> Fraction | None:
    return None if value is None else Fraction(value)
