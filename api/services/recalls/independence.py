"""Which checks were made against something that rests, or may rest, on what is faulty.

DESIGN section 9: not independent is a check that was made against an item which itself rests on the
faulty one; section 10: doubt is passed on like a value, and must not clear anybody. A check is
therefore asked about like a calibration that used its reference, and a fault of unknown size that
was there at all times: what a recall of that would list, or could not exclude, is no evidence. Only
a certificate that names nothing in a role concerned is in doubt by its time alone, and so inside
the window that was stated.

Most references rest on nothing faulty, whatever the records leave open; that takes no graph.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from itertools import chain
from typing import Any

from api.services.recalls.faults import Reported
from api.services.recalls.not_excluded import of_other_directions, roles_concerned
from api.services.recalls.reading import Traced
from api.store.records import CheckRow
from graph.faults import UnknownEffect
from graph.lists import AFFECTED, INDETERMINATE, NOT_EXCLUDED
from graph.model import ONE, Calibration, Point, Use, Window
from graph.moments import Moment
from graph.recall import assess
from graph.suspects import SuspectWindow

NOT_INDEPENDENT = (AFFECTED, INDETERMINATE, NOT_EXCLUDED)
ALWAYS = Window(None, None)


def resting(
    traced: Traced,
    checks: Sequence[CheckRow],
    reported: Reported,
    direct: Iterable[Calibration],
    forces: Collection[Fraction],
) -> set[str]:
    """Return the codes of the checks whose reference rested, or may have, on what is faulty.

    `traced` reads what references rested on; `direct` are the calibrations that ever used what is
    faulty, at these `forces` (N), if they had to be known.
    """
    dependent = {one.code for one in checks if one.against_id in reported.item_keys}
    against = [one for one in checks if one.against_id is not None and one.code not in dependent]
    if not against:
        return dependent
    asked = {
        one.code: _as_calibration(traced, one, -n, forces) for n, one in enumerate(against, start=1)
    }
    unnamed = _Unnamed(traced, reported, direct)
    maybe = {
        code: made for code, made in asked.items() if _could_rest(traced, made, reported, unnamed)
    }
    return dependent | _judged(traced, maybe, reported, unnamed)


def covered(check: CheckRow) -> Any:
    """Return what a check covered: forces in newton, "full range", or None."""
    covers = None if check.covers is None else json.loads(check.covers)
    if not isinstance(covers, list):
        return covers
    # Few checks name single forces, and a first list does not wait for the table of units.
    from api.rules.units import parse_quantity, to_newton

    return tuple(to_newton(*parse_quantity(force)) for force in covers)


def _as_calibration(
    traced: Traced, check: CheckRow, key: int, used: Collection[Fraction]
) -> Calibration:
    """Return a check as a calibration that used its reference at the forces that it covers."""
    source, against = traced.source, check.against_id
    assert against is not None
    code, _ = source.item_words([against])[against]
    traced.histories.learn({against: code})
    at, mode = Moment(check.performed_us, check.performed_end_us), check.mode
    own = source.certificate_in_force(against, at.end_us, mode)
    rest = traced.histories.rest(code, at, mode, own)
    use = Use(
        code, "against", at, source=own, ranked=rest.ranked, doubts=rest.doubts, held=rest.held
    )
    covers = covered(check)
    forces: Sequence[Fraction | None] = covers if isinstance(covers, tuple) else sorted(used)
    points = [
        Point(n, "single", "N", False, Decimal(1), force, None, None, Decimal(2))
        for n, force in enumerate(forces or [None])
    ]
    return Calibration(
        key,
        check.code,
        0,
        "issued",
        f"check {check.code}",
        None,
        at,
        assigns_value=False,
        mode=mode,
        uses=(use,),
        points=tuple(points),
    )


class _Unnamed:
    """Which certificates name nothing in a role concerned, in the window that was stated."""

    def __init__(self, traced: Traced, reported: Reported, direct: Iterable[Calibration]) -> None:
        self._traced, self._reported, self._direct = traced, reported, direct
        self._window = reported.fault.window()
        self._known: dict[int, bool] = {}

    @cached_property
    def _roles(self) -> set[str]:
        reported = self._reported
        return roles_concerned(self._traced.source, reported, reported.case, self._direct)

    def __contains__(self, key: object) -> bool:
        if not isinstance(key, int) or key < 0:
            return False
        row, only = self._traced.rows[key], self._reported.fault.only
        used = self._traced.calibrations[key]
        return (
            not row.external
            and row.item_id != self._reported.item_key
            and self._window.holds(used.performed)
            and (only is None or only.mode is None or row.mode in (None, only.mode))
            and bool(self._roles)
            and self._roles.isdisjoint([use.role for use in used.uses])
            and not self._of_other_directions(key)
        )

    def _of_other_directions(self, key: int) -> bool:
        """Whether the fault is limited to directions of which the certificate has no point."""
        only = self._reported.fault.only
        if only is None or only.directions is None:
            return False
        if key not in self._known:
            source = self._traced.source
            self._known[key] = bool(of_other_directions(source, (key,), only.directions))
        return self._known[key]


def _could_rest(traced: Traced, check: Calibration, reported: Reported, unnamed: _Unnamed) -> bool:
    """Whether anything behind a check, whatever bears on it, met what is faulty."""
    names = reported.case.names
    # What only confirmed limits gave no value, so that no check is less independent for it.
    return any(
        any(_is_faulty(use, reported, names) for use in one.uses) or one.key in unnamed
        for one in (check, *_below(traced, [check], confirmed=False))
    )


def _is_faulty(use: Use, reported: Reported, names: Collection[str]) -> bool:
    """Whether a use is one of what is faulty, or of something that held it."""
    if use.item == reported.fault.item:
        return use.may_be_on(reported.fault.channel)
    return use.item in names or any(one.part in names for one in use.held)


def _judged(
    traced: Traced, checks: Mapping[str, Calibration], reported: Reported, unnamed: _Unnamed
) -> set[str]:
    """Return those of the checks that a recall of the faulty item would list, or not exclude."""
    if not checks:
        return set()
    # What could be met is judged by forces and in order of dependence, as in a recall.
    from api.services.recalls.reading_results import Measured
    from graph.traceability import CyclicTrace, in_order_of_dependence, reached

    below = {one.key for one in _below(traced, checks.values(), confirmed=True)}
    measured = Measured(traced)
    # What was used is rested on, whatever its weight and the points that it served, those at zero
    # force too; what was corrected since is no evidence.
    read = [_whole(one) for one, _ in measured.in_order(sorted(below), below)]
    read.sort(key=lambda one: (one.performed, one.key))
    known = {one.key: one for one in (*read, *checks.values())}
    graph = reached(known.values(), reported.case.names)
    try:
        order = in_order_of_dependence(graph)
    except CyclicTrace:
        return set(checks)  # the recall says so itself; nobody is cleared by it
    fault = reported.fault
    probe = UnknownEffect(
        item=fault.item,
        start_us=None,
        end_us=None,
        channel=fault.channel,
        only_channel=fault.only_channel,
    )
    always = SuspectWindow(probe, ALWAYS, reported.case.holders)
    gaps = [frozenset(key for key in below if key in unnamed)]
    found = assess([always], (known[key] for key in order), graph, gaps)
    return {
        one.calibration.number
        for one in found
        if one.calibration.key < 0 and one.list_name in NOT_INDEPENDENT
    }


def _below(
    traced: Traced, checks: Iterable[Calibration], *, confirmed: bool
) -> Iterator[Calibration]:
    """Read and yield the calibrations on which checks rest or may rest, the nearest first.

    With `confirmed` those that only confirmed limits are among them.
    """
    found, asked = set[int](), list(checks)
    while asked:
        links = (use.links(confirmed=confirmed) for one in asked for use in one.uses)
        keys = set(chain.from_iterable(links)) - found
        found |= keys
        traced.read(keys)
        asked = [traced.calibrations[key] for key in keys]
        yield from asked


def _whole(one: Calibration) -> Calibration:
    points = tuple([point for point in one.points if not point.at_zero])
    loaded = {point.key for point in points}
    uses = tuple([_counting(use, loaded) for use in one.uses])
    return one._replace(uses=uses, taken=(), points=points)


def _counting(use: Use, loaded: Collection[str]) -> Use:
    """The use as one that counts; at every point, where it served none at which force was."""
    idle = use.points is not None and use.points.isdisjoint(loaded)
    if use.weight is ONE and not idle:
        return use
    return use._replace(weight=ONE, points=None if idle else use.points)
