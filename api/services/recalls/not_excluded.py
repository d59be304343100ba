"""Why a certificate cannot be excluded; calibrations whose records do not say what they used.

A recall follows records. Where a calibration of the suspect time names no adapter at all, an
adapter that was found worn may still have been in it: the gap is listed so that it hides nothing.
Asked for are the roles in which the faulty item was ever used, or those of its kind where it never
was.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Sequence
from typing import NamedTuple

from api.services.recalls.faults import Reported
from api.store.links import Met, Span, Window
from api.store.sources import Source
from graph.faults import READOUT_ROLES
from graph.in_force import (
    MAY_BE_OUTSIDE,
    MODE_NOT_RECORDED,
    OTHER_MODE_ONLY,
    OUTSIDE_RANGE,
    UNDATED_VOID,
)
from graph.lists import NO_USE_IN_ROLE, RESTS_ON_DOUBT
from graph.model import Calibration
from graph.suspects import SuspectWindow

ROLES_OF_KIND = {
    "adapter": ("adapter",),
    "adapter_part": ("adapter",),
    "readout": READOUT_ROLES,
    "environment_monitor": ("environment",),
    "software": ("software",),
}
DEFAULT_ROLES = ("force_reference",)


class Missing(NamedTuple):
    """Who names nothing in the roles concerned by a fault, and in which time they were sought.

    `certificates` are keys with those roles. Without `window` nobody was sought.
    """

    certificates: dict[int, tuple[str, ...]]
    window: Window | None


NOBODY = Missing({}, None)


def missing_roles(
    source: Source,
    reported: Sequence[Reported],
    cases: Sequence[SuspectWindow],
    direct: Sequence[Calibration],
) -> list[Missing]:
    """For each fault the certificates of its window that name nothing in the roles concerned.

    `direct` are the calibrations that ever used what is faulty.
    """
    return [_missing(source, *both, direct) for both in zip(reported, cases, strict=True)]


def _missing(
    source: Source,
    reported: Reported,
    case: SuspectWindow,
    direct: Sequence[Calibration],
) -> Missing:
    if reported.item_key is None:
        return NOBODY  # a certificate or method is named by the record or was not used
    only, (first, last) = case.fault.only, _inside(case)
    roles = roles_concerned(source, reported, case, direct)
    if not roles:
        return NOBODY
    found = source.lacking_roles(roles, (first, last))
    # What is faulty was not used to calibrate itself.
    rows = [row for row in source.certificates(found) if row.item_id != reported.item_key]
    if only is not None and only.mode is not None:
        rows = [row for row in rows if row.mode in (None, only.mode)]
    keys = {row.id for row in rows}
    if only is not None and only.directions is not None:
        keys -= of_other_directions(source, keys, only.directions)
    named = tuple(sorted(roles))
    return Missing(dict.fromkeys(sorted(keys), named), Window(first, last, named))


def roles_concerned(
    source: Source, reported: Reported, case: SuspectWindow, direct: Iterable[Calibration]
) -> set[str]:
    """Roles in which a fault of an item, in its window, could have been used; `direct` as above."""
    only = case.fault.only
    roles = roles_served(case, direct) | source.roles_elsewhere(_met(case), _inside(case))
    roles = roles or set(ROLES_OF_KIND.get(reported.kind or "", DEFAULT_ROLES))
    return roles if only is None or only.roles is None else roles & only.roles


def _inside(case: SuspectWindow) -> Span:
    """First and last microsecond of a window."""
    window = case.window
    first, last = window.start_us, window.end_us
    if first is not None and not window.start_inclusive:
        first += 1
    if last is not None and not window.end_inclusive:
        last -= 1
    return first, last


def roles_served(case: SuspectWindow, direct: Iterable[Calibration]) -> set[str]:
    """Roles in which the faulty item, or an assembly that held it at the time, was ever used."""
    fault = case.fault
    return {
        use.role
        for calibration in direct
        for use in calibration.uses
        if (use.item == fault.item and use.may_be_on(fault.channel))
        or any(one.assembly == use.item and one.held_at(use.at) for one in case.holders)
    }


def _met(case: SuspectWindow) -> list[Met]:
    """Return the uses that `roles_served` counts, as the records are asked for them."""
    ways = [Met(case.fault.item, case.fault.channel, None, None)]
    for holder in case.holders:
        begins = max(one.start_us for one in holder.holdings)
        ends = [one.end_us for one in holder.holdings if one.end_us is not None]
        ways.append(Met(holder.assembly, None, begins, min(ends, default=None)))
    return ways


def of_other_directions(
    source: Source, certificates: Collection[int], directions: Container[str]
) -> set[int]:
    """Certificates all of whose results have a direction, and another one."""
    ways: dict[int, set[bool]] = {}
    for row in source.results(sorted(certificates)):
        other = row.direction is not None and row.direction not in directions
        ways.setdefault(row.certificate_id, set()).add(other)
    return {key for key, found in ways.items() if found == {True}}


DETAILS = {
    UNDATED_VOID: "rests, were it issued, on a certificate that was voided without a date",
    MODE_NOT_RECORDED: "its mode is not recorded; in the other mode it would rest on the fault",
    OTHER_MODE_ONLY: "the item had no certificate of its mode, and that of the other rests on it",
    OUTSIDE_RANGE: "used outside the calibrated range, inside that of an earlier certificate",
    MAY_BE_OUTSIDE: (
        "the share of a part is not recorded, and the force on it may have been outside its "
        "calibrated range and inside that of an earlier certificate"
    ),
    RESTS_ON_DOUBT: "rests on a certificate that cannot be excluded either",
}


def detail(reasons: Collection[str], roles: Collection[str]) -> str:
    """Say in words why a certificate cannot be excluded."""
    said = dict(DETAILS)
    said[NO_USE_IN_ROLE] = f"the record names nothing in the role {' or '.join(roles)}"
    return "; ".join(said[reason] for reason in reasons)
