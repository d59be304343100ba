"""The fault of a stored recall as the fields of the form, so that a second look retypes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from api.errors import InvalidRecord
from api.pages.fault_form import MOST_LINES, PERCENTS, PLAIN, TIMES, on_the_clock


def fields_of(fault: Mapping[str, Any], zone: ZoneInfo) -> dict[str, str]:
    """Return the fields of a form that stand for a fault; `fault_form.fault_of` is the way back.

    Raises
    ------
    InvalidRecord
        If the form has no field for a part of it.
    """
    several = ("segments", "effect_rel")
    curve = ("coefficients_recorded", "coefficients_right", "of", "range")
    known = {*PLAIN, "revision", *TIMES, *PERCENTS, "U_delta_k", "other_types", *several, *curve}
    left = [name for name in fault if name not in known and fault[name] is not None]
    left += [name for name in several if len(fault.get(name) or ()) > MOST_LINES]
    if left:
        raise InvalidRecord(
            f"the form has no place for {', '.join(sorted(left))} of the earlier fault; look again "
            "with tracehold recall --previous, or POST /v1/recalls"
        )
    given = {name: str(value) for name, value in fault.items() if value is not None}
    fields = {name: given[name] for name in (*PLAIN, "revision", "U_delta_k") if name in given}
    fields |= {name: on_the_clock(given[name], zone) for name in TIMES if name in given}
    for name in (*PERCENTS, "other_types"):
        if name in given:
            fields[name] = percent(given[name])
    for line, one in enumerate(fault.get("segments") or ()):
        ends = {"above": one.get("above_kN"), "up_to": one.get("up_to_kN")}
        ends |= {"delta": percent(one["delta_rel"])}
        fields |= {f"segment-{line}-{k}": str(v) for k, v in ends.items() if v is not None}
    for line, (kind, effect) in enumerate((fault.get("effect_rel") or {}).items()):
        fields |= {f"effect-{line}-type": kind, f"effect-{line}-pct": percent(effect)}
    for name in curve[:2]:
        if name in fault:
            fields[name] = " ".join(map(str, fault[name]))
    if "of" in given:
        fields["of"] = given["of"]
    ends = fault.get("range") or {}
    return fields | {f"range_{end}": str(ends[end]) for end in ends}


def percent(text: str) -> str:
    """Return a share as percent, in plain notation; `fault_form.share` is the way back.

    >>> percent("-0.0007")
    '-0.07'
    """
    return format(Decimal(text).scaleb(2), "f")
