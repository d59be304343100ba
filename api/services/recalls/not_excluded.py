"""Calibrations in the window whose records do not say whether they used what is faulty.

A recall follows records. Where a calibration of the suspect time names no adapter at all, an
adapter that was found worn may still have been in it: the gap is listed so that it hides nothing.
Asked for are the roles in which the faulty item was ever used, or those of its kind where it never
was.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from api.services.base.record import Record
from api.services.recalls.faults import Reported
from api.services.recalls.reading import Traced
from api.store.sources import Source
from graph.faults import READOUT_ROLES
from graph.recall import NOT_EXCLUDED
from graph.suspects import SuspectWindow

ROLES_OF_KIND = {
    "adapter": ("adapter",),
    "adapter_part": ("adapter",),
    "readout": READOUT_ROLES,
    "environment_monitor": ("environment",),
    "software": ("software",),
}
DEFAULT_ROLES = ("force_reference",)


def missing_roles(
    source: Source, reported: Sequence[Reported], cases: Sequence[SuspectWindow]
) -> dict[int, tuple[str, ...]]:
    """Certificates of the windows that name nothing in the roles concerned, and those roles."""
    found: dict[int, tuple[str, ...]] = {}
    for one, case in zip(reported, cases, strict=True):
        if one.item_key is None:
            continue  # a certificate or method is named by the record or was not used
        roles = source.roles_of(one.item_keys) or set(
            ROLES_OF_KIND.get(one.kind or "", DEFAULT_ROLES)
        )
        window = case.window
        first, last = window.start_us, window.end_us
        if first is not None and not window.start_inclusive:
            first += 1
        if last is not None and not window.end_inclusive:
            last -= 1
        for key in source.lacking_roles(roles, (first, last)):
            found[key] = tuple(sorted({*found.get(key, ()), *roles}))
    return found


def entry(traced: Traced, key: int, roles: Collection[str]) -> Record:
    """Return the entry of one certificate whose record leaves the question open."""
    calibration = traced.calibrations[key]
    customer = traced.customer(key)
    return {
        "certificate": calibration.number,
        "revision": calibration.revision,
        "item": calibration.item,
        "class": NOT_EXCLUDED,
        **({"customer": customer} if customer is not None else {}),
        "reason": "role_not_recorded",
        "detail": f"the record names nothing in the role {' or '.join(roles)}",
    }
