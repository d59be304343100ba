"""A request for a recall that is plain at a glance, read without marshmallow.

Choice: as with the columns of a batch, the usual is recognised quickly and everything else goes
through the schema, which says what is wrong in its own words. Plain is a fault on an item, of a
kind whose numbers stand for themselves, with short numbers and texts; what is plain loads to
exactly what `RecallRequestSchema` makes of it, to which a test holds it. marshmallow takes as long
to import as the first list of a million certificates takes to find.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from api.schemas.fault_kinds import NEEDS, bounds_of
from graph.moments import BadMoment, check_text

MOST_CHARACTERS = {"meaning": 1_000}  # less than the schema takes; of other texts:
FEW = 40
_NUMBER = re.compile(r"-?[0-9]{1,9}(\.[0-9]{1,20})?")
_WORDS = ("item", "kind", "channel", "meaning")
_MOMENTS = ("discovered_at", "isolated_at", "entered_at", "fixed_at", "last_good_at", "measured_at")
# Numbers by what they must be greater than; those that may be 0, or end at 1, are left to the
# schema there.
_ABOVE = {
    **dict.fromkeys(("delta_rel", "indication_rel"), -1),
    **dict.fromkeys(("factor_applied", "factor_right", "gain", "U_delta_rel", "U_delta_k"), 0),
}
_ANY_KIND = {"item", "kind", "channel", "meaning", "discovered_at", "U_delta_rel", "U_delta_k"}
_KINDS: dict[str, set[str]] = {
    "true_force_relative_error": {"delta_rel"},
    **{
        kind: set(NEEDS[kind])
        for kind in (
            "indicates_high",
            "wrong_correction_factor",
            "readout_gain",
            "unknown",
            "linear_drift",
        )
    },
}


def plain_request(sent: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the request as the schema would load it, or None if it is not plain."""
    faults = sent["faults"] if "faults" in sent else [sent.get("fault")]
    if len(sent) != 1 or not isinstance(faults, list) or not 1 <= len(faults) <= 20:
        return None
    read = [_fault(one) for one in faults]
    if None in read:
        return None
    return {"preview": False, **({"faults": read} if "faults" in sent else {"fault": read[0]})}


def _fault(sent: Any) -> dict[str, Any] | None:
    if not isinstance(sent, dict) or not isinstance(sent.get("kind"), str):
        return None
    own = _KINDS.get(sent["kind"])
    if own is None:
        return None
    needed = {"item", *own, *bounds_of(sent["kind"])}
    if not needed <= sent.keys() <= needed | _ANY_KIND:
        return None
    read = {name: _value(name, value) for name, value in sent.items()}
    return None if None in read.values() else read


def _value(name: str, value: Any) -> str | Decimal | None:
    if name in _ABOVE:
        text = value if isinstance(value, str) else str(value) if type(value) is Decimal else ""
        number = Decimal(text) if _NUMBER.fullmatch(text) else None
        return number if number is not None and number > _ABOVE[name] else None
    if not isinstance(value, str) or len(value) > MOST_CHARACTERS.get(name, FEW):
        return None
    if name in _MOMENTS:
        try:
            check_text(value)
        except BadMoment:
            return None
        return value
    return value if name in _WORDS and value.strip() and value.isprintable() else None
