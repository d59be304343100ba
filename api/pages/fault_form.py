"""The fields of a fault in the terms of the trade, and the fault that they stand for.

A fault is of an item, a certificate or a method. Several reported at once stand one after the
other: those entered before are put aside, each as the text of its fields, while the next is filled
in.

Relative errors are entered in percent and shifted by two places, exactly; a time of day without
offset is one of the laboratory's clock. Everything else is as ``POST /v1/recalls`` takes it, and is
checked by its schema.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any, NamedTuple
from urllib.parse import parse_qsl, urlencode
from zoneinfo import ZoneInfo

from api.pages import forms
from api.schemas.fault_kinds import DATA_FAULTS, NEEDS, STATES_ITS_OWN_U

# Lines of a table that are shown at least, and how many are read.
LINES = 5
MOST_LINES = 60
_CLOCK = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?")


class Kind(NamedTuple):
    """A kind of fault: what it is called, and what its effect is in a sentence."""

    name: str
    label: str
    says: str


KINDS = (
    Kind(
        "true_force_relative_error",
        "The true force was not the recorded one",
        "A standard or machine gave another force than was recorded, by a share of it.",
    ),
    Kind("indicates_high", "It reads high or low", "Reading = (1 + e) × true force."),
    Kind(
        "wrong_correction_factor",
        "A wrong correction factor was applied",
        "A fault of data: each calibration that recorded its factor is judged by that record.",
    ),
    Kind(
        "indication_effect_by_type",
        "An adapter changes the indication",
        "A pin, clevis or shackle acts on the instrument, by its type.",
    ),
    Kind("readout_gain", "A readout has a wrong gain", "One channel reads g times what it should."),
    Kind("interval", "An error within bounds", "Only a bound of the error is known."),
    Kind(
        "linear_drift",
        "It drifted",
        "No error at the last good evidence, the one measured at the end, and in a line between.",
    ),
    Kind(
        "understated_uncertainty",
        "Its uncertainty was stated too small",
        "No value moves; results are judged again with the uncertainty that is right.",
    ),
    Kind(
        "true_force_offset",
        "The force was wrong by a constant",
        "As by the mass of a hanger, or a zero that was not taken.",
    ),
    Kind(
        "wrong_curve",
        "Its curve was wrong",
        "Force was had from deflection by wrong coefficients: the error is what two curves give.",
    ),
    Kind("unknown", "Nobody can say yet", "Everything it reached is listed for review."),
)
TIMES = ("last_good_at", "isolated_at", "entered_at", "fixed_at", "discovered_at", "measured_at")
PERCENTS = (
    *("delta_rel", "indication_rel", "bound_rel", "U_delta_rel"),
    *("U_rel_recorded", "U_rel_right"),
)
PLAIN = (
    *("kind", "item", "certificate", "issuer", "method"),
    *("channel", "factor_applied", "factor_right", "gain", "meaning"),
    *("k_recorded", "k_right", "delta_force", "unit", "U_delta_force"),
)
# A channel's gain is read against its role in a calibration, which only an item has.
OF_ITEMS_ONLY = ("readout_gain",)
SUBJECT = ("item", "certificate", "revision", "issuer", "method")
ROWS = [
    *(
        f"segment-{line}-{name}"
        for line in range(MOST_LINES)
        for name in ("above", "up_to", "delta")
    ),
    *(f"effect-{line}-{name}" for line in range(MOST_LINES) for name in ("type", "pct")),
]
# What a curve is entered by; its unit is that of a wrong force.
CURVE = ("coefficients_recorded", "coefficients_right", "of", "range_from", "range_to")
FIELDS = (*PLAIN, *CURVE, "revision", *TIMES, *PERCENTS, "U_delta_k", *ROWS, "other_types")
MOST_AT_ONCE = 20
# Fields of the form by the kinds that show them; each kind's numbers are the schema's.
SHOWN_FOR = {
    "delta_rel": ("true_force_relative_error", "linear_drift"),
    "segments": ("true_force_relative_error",),
    "indication_rel": ("indicates_high",),
    "factors": ("wrong_correction_factor",),
    "effects": ("indication_effect_by_type",),
    "gain": ("readout_gain",),
    "bound_rel": ("interval",),
    "measured_at": ("linear_drift",),
    "understated": ("understated_uncertainty",),
    "offset": ("true_force_offset",),
    "curve": ("wrong_curve",),
    "unit": ("true_force_offset", "wrong_curve"),
    "U_delta": tuple(kind for kind in NEEDS if "U_delta_rel" not in STATES_ITS_OWN_U.get(kind, ())),
}
# Fields that stand together, and under which name of `SHOWN_FOR`.
TOGETHER = {
    **dict.fromkeys(("factor_applied", "factor_right"), "factors"),
    "gain": "gain",
    **dict.fromkeys(("k_recorded", "k_right"), "understated"),
    **dict.fromkeys(("delta_force", "U_delta_force"), "offset"),
    "unit": "unit",
}


def body_of(
    sent: Mapping[str, str], zone: ZoneInfo, aside: Sequence[Mapping[str, str]] = ()
) -> dict[str, Any]:
    """Return the request that a form stands for; numbers that cannot be read stay as they are.

    `aside` are the fields of the faults that were entered before.
    """
    fault = fault_of(sent, zone)
    if not aside:
        return {"fault": fault, **_previous(sent)}
    return {"faults": [*(fault_of(one, zone) for one in aside), fault], **_previous(sent)}


def lines_shown(sent: Mapping[str, str]) -> int:
    """Return how many lines the tables of the form need."""
    filled = [name.split("-")[1] for name in ROWS if sent.get(name, "").strip()]
    return max(LINES, *(int(line) + 1 for line in filled)) if filled else LINES


def put_aside(sent: Mapping[str, str]) -> str:
    """Return the fields of one fault as a text; `taken_up` is the way back."""
    return urlencode(forms.filled(sent, *FIELDS))


def taken_up(text: str) -> dict[str, str]:
    """Return the fields of a fault that was put aside."""
    return {name: value for name, value in parse_qsl(text) if name in FIELDS}


def said(fields: Mapping[str, str]) -> str:
    """Return in a few words what fields say is wrong, and since when."""
    kind = next((one for one in KINDS if one.name == fields.get("kind")), KINDS[-1])
    effects = [fields.get(name, "") for name in PERCENTS[:3] if kind.name in SHOWN_FOR[name]]
    numbers = [f"{text} %" for text in effects if text]
    begin, end = ("entered_at", "fixed_at") if kind.name in DATA_FAULTS else TIMES[:2]
    times = [
        f"{word} {fields[name]}" for word, name in (("from", begin), ("to", end)) if name in fields
    ]
    return ", ".join([kind.label[:1].lower() + kind.label[1:], *numbers, " ".join(times)]).rstrip(
        ", "
    )


def fault_of(sent: Mapping[str, str], zone: ZoneInfo) -> dict[str, Any]:
    """Return the fault that the fields of a form stand for, as the API takes it."""
    fault: dict[str, Any] = forms.filled(sent, *PLAIN)
    kind = fault.get("kind", "")
    if revision := forms.filled(sent, "revision"):
        text = revision["revision"]
        fault["revision"] = int(text) if text.isascii() and text.isdigit() else text
    times = forms.filled(sent, *TIMES)
    pair = ("entered_at", "fixed_at") if kind in DATA_FAULTS else ("last_good_at", "isolated_at")
    if "item" in fault:
        # Nobody knows: said by null, so that a forgotten field of the API stays an error.
        fault |= dict.fromkeys(pair)
    for name in (*pair, "discovered_at"):
        if name in times:
            fault[name] = in_zone(times[name], zone)
    if kind == "linear_drift" and "measured_at" in times:
        fault["measured_at"] = in_zone(times["measured_at"], zone)
    stated = forms.filled(sent, "U_delta_rel")
    if stated and kind in SHOWN_FOR["U_delta"]:
        fault["U_delta_rel"] = share(stated["U_delta_rel"])
    if "U_delta_rel" in fault or "U_delta_force" in fault:
        fault |= forms.filled(sent, "U_delta_k")
    understated = dict.fromkeys(("U_rel_recorded", "U_rel_right"), "understated")
    for name in ("delta_rel", "indication_rel", "bound_rel", *understated):
        shown = SHOWN_FOR[understated.get(name, name)]
        if kind in shown and (entered := forms.filled(sent, name)):
            fault[name] = share(entered[name])
    fault |= _several(sent, kind)
    for name, together in TOGETHER.items():
        if kind not in SHOWN_FOR[together]:
            fault.pop(name, None)
    if "U_delta_k" in fault and not {"U_delta_rel", "U_delta_force"} & fault.keys():
        del fault["U_delta_k"]
    return fault


def in_zone(text: str, zone: ZoneInfo) -> str:
    """Return a moment with the laboratory's offset if it has a time of day and none.

    >>> in_zone("2025-09-11 16:00", ZoneInfo("America/Phoenix"))
    '2025-09-11T16:00:00-07:00'
    """
    if _CLOCK.fullmatch(text) is None:
        return text
    try:
        return datetime.fromisoformat(text).replace(tzinfo=zone).isoformat()
    except ValueError:
        return text


def on_the_clock(text: str, zone: ZoneInfo) -> str:
    """Return a recorded moment as the laboratory's clock showed it; `in_zone` is the way back.

    >>> on_the_clock("2025-10-21T18:00:30+02:00", ZoneInfo("America/Phoenix"))
    '2025-10-21 09:00:30'
    """
    if len(text) == len("2025-10-21"):
        return text
    at = datetime.fromisoformat(text).astimezone(zone).replace(tzinfo=None)
    shown = at.isoformat(sep=" ", timespec="auto")
    return shown.removesuffix(":00") if at.second == 0 and not at.microsecond else shown


def share(percent: str) -> str:
    """Return percent as a share, in plain notation; what is no number comes back as it is.

    >>> share("-0.07"), share("a tenth")
    ('-0.0007', 'a tenth')
    """
    try:
        number = Decimal(percent.strip().removesuffix("%").replace("−", "-").strip())
        return format(number.scaleb(-2), "f") if number.is_finite() else percent
    except InvalidOperation:
        return percent


def _several(sent: Mapping[str, str], kind: str) -> dict[str, Any]:
    """Lines of the form that become lists: ranges of force, or types of instrument."""
    found: dict[str, Any] = {}
    if kind == "true_force_relative_error":
        segments = []
        for line in range(MOST_LINES):
            fields = {f"segment-{line}-{name}": name for name in ("above", "up_to", "delta")}
            entered = {fields[name]: text for name, text in forms.filled(sent, *fields).items()}
            if entered:
                bounds: dict[str, Any] = {
                    "above_kN": entered.get("above"),
                    "up_to_kN": entered.get("up_to"),
                }
                delta = {"delta_rel": share(entered["delta"])} if "delta" in entered else {}
                segments.append(bounds | delta)
        if segments:
            found["segments"] = segments
    if kind == "wrong_curve":
        found |= _curve(sent)
    if kind == "indication_effect_by_type":
        effects = {}
        for line in range(MOST_LINES):
            entered = forms.filled(sent, f"effect-{line}-type", f"effect-{line}-pct")
            if named := entered.get(f"effect-{line}-type"):
                effects[named.replace(" ", "_")] = share(entered.get(f"effect-{line}-pct", ""))
        if effects:
            found["effect_rel"] = effects
        if other := forms.filled(sent, "other_types"):
            found["other_types"] = share(other["other_types"])
    return found


def _curve(sent: Mapping[str, str]) -> dict[str, Any]:
    """What is entered of a curve: coefficients with blanks or semicolons between them."""
    entered = forms.filled(sent, *CURVE)
    found: dict[str, Any] = {
        name: entered[name].replace("−", "-").replace(";", " ").split()
        for name in CURVE[:2]
        if name in entered
    }
    if "of" in entered:
        found["of"] = entered["of"]
    ends = {end: entered[f"range_{end}"] for end in ("from", "to") if f"range_{end}" in entered}
    return found | ({"range": ends} if ends else {})


def _previous(sent: Mapping[str, str]) -> dict[str, int]:
    text = sent.get("previous", "")
    return {"previous": int(text)} if text.isascii() and text.isdigit() else {}
