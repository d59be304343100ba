"""What a notice says in words: the fault, the effect, what to do, and what to beware of.

Nothing here may name what belongs to another customer: an instrument of a customer that served as a
reference is described and not named, and what was written about it is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from api.services.base.record import Record

KINDS = {
    "reference_standard": "reference standard",
    "working_standard": "working standard",
    "force_machine": "force machine",
    "deadweight_machine": "deadweight machine",
    "readout": "readout",
    "adapter": "adapter",
    "adapter_part": "part of an adapter",
    "environment_monitor": "environment monitor",
    "software": "software",
}
UNNAMED = "an instrument that served as a reference"
ACTIONS = {
    "withdraw": (
        "This certificate is withdrawn. Do not rely on it and stop using the item for anything "
        "that needs it, until it has been calibrated again. Evaluate the work done with the item "
        "since the calibration."
    ),
    "reissue": (
        "We issue an amended certificate that takes the place of this one. Until you have it, use "
        "the corrected values given here, and evaluate the work done with the item since the "
        "calibration."
    ),
    "recalibrate_free": (
        "Please send the item back: we calibrate it again free of charge. Until then use the "
        "corrected values given here or stop using the item, and evaluate the work done with it "
        "since the calibration."
    ),
    "no_action": "We see no need for action on your side; the values given are for your records.",
    None: (
        "We have not decided yet what is to be done. Until you hear from us do not rely on the "
        "statements of conformity of this certificate."
    ),
}
DOWNSTREAM = (
    "If you used an item named here as a reference for measurements, tests or calibrations of your "
    "own, that work may be affected too, and so may the work of those you did it for. Only you can "
    "follow it further: please evaluate it."
)
SAFETY = (
    "Force rigs injure people. Where loads were limited, lifted or tested by values named here, "
    "stay within the rated capacity of the weakest part, keep clear of the load line, follow local "
    "codes, and leave the judgement to a competent, authorised person. This notice does not say "
    "that any set-up is safe."
)
OFFER = "We will answer questions and help you to judge the effect; please use the contact above."
NOW_UNKNOWN = "We cannot say whether the item may be reading wrong now: treat it as if it were."
STAGES = {
    "as_found": (
        "The as-found results concern what you did with the item before this calibration, the "
        "as-left results what you have done with it since."
    ),
}
EFFECTS = {
    "affected": "The results change as shown.",
    "indeterminate": "By how much the results change cannot be stated; all of them are in doubt.",
    "exposed_zero_effect": "The results do not change, but what they rested on was not sound.",
    "cannot_be_excluded": (
        "Our records do not show that this calibration rested on what was wrong, but they do not "
        "exclude it either: {why}. Until we know, all its results are in doubt."
    ),
}
GIVEN_BACK = (
    "A correction that we made to this certificate for a fault was found to be wrong, or too "
    "large, and is withdrawn as far as it was: the results change as shown."
)
# Why that is so, by the reason that the recall gives; nothing of what is another customer's.
DOUBTS = {
    "no_use_in_role": (
        "the record of this calibration does not say what was used in a place where it may have "
        "served"
    ),
    "undated_void": (
        "what this calibration rested on may have had its values from a certificate that was "
        "withdrawn on a day that nobody recorded"
    ),
    "mode_not_recorded": (
        "it is not recorded whether this calibration was made in tension or in compression, and "
        "what it rested on was wrong, or may have been, in one of the two"
    ),
    "other_mode_only": (
        "what this calibration rested on was itself calibrated in the other mode only (tension or "
        "compression), with values that were wrong or may have been"
    ),
    "outside_range": (
        "a force lies outside the range for which what this calibration rested on had sound "
        "values, and inside that of earlier values that were wrong or may have been"
    ),
    "may_be_outside_range": (
        "it is not recorded how the force was shared among the parts of what this calibration "
        "rested on; on one of them it may have been outside the range for which that had sound "
        "values, and inside that of earlier values that were wrong or may have been"
    ),
    "rests_on_doubt": (
        "it rested on another calibration of which the records do not exclude it either"
    ),
}
# Where no corrected values can be given, or not at every point.
ACTIONS_IN_DOUBT = {
    "reissue": (
        "We issue an amended certificate that takes the place of this one. Until you have it, do "
        "not rely on its results, and evaluate the work done with the item since the calibration."
    ),
    "recalibrate_free": (
        "Please send the item back: we calibrate it again free of charge. Until then do not rely "
        "on the results of this certificate, and evaluate the work done with the item since the "
        "calibration."
    ),
    "no_action": (
        "We take no further step about this certificate. By how much its results change is not "
        "known at every point: judge for your use whether you can rely on it, and ask us if in "
        "doubt."
    ),
}
# Where a verdict becomes or could become fail; a reason written for the customer follows.
NO_ACTION_ON_FAIL = (
    "We take no further step about this certificate, but at the points marked the item does not "
    "conform any more, or may not. Do not use it where that matters before a competent, authorised "
    "person has judged it for your use, and evaluate the work done with it since the calibration."
)
# Where the rule makes no statement any more, and nothing becomes fail.
NO_ACTION_ON_SILENCE = (
    "We take no further step about this certificate, but at the points marked we state no "
    "conformity any more: with the uncertainty that is right, the agreed decision rule makes no "
    "statement. Do not rely on the earlier statement there before a competent, authorised person "
    "has judged the item for your use."
)


def fault_in_words(fault: Record, kind: str | None) -> str:
    """Return one fault in plain words; `kind` is the kind of the faulty item."""
    anonymous = kind == "customer_instrument"
    item = fault.get("item")
    name = UNNAMED if anonymous or item is None else f"our {KINDS.get(kind or '', 'item')} {item}"
    if fault.get("meaning") and not anonymous:
        return f"{_capital(name)}: {fault['meaning']}"
    told = _FAULTS.get(fault.get("kind", ""))
    return _capital(f"{name} {told(fault) if told else 'was found not to be in order'}.")


def percent(relative: object) -> str:
    """Return a relative number in percent, without sign.

    >>> percent("-0.0007")
    '0.07 %'
    """
    number = abs(Decimal(str(relative)) * 100).normalize()
    return f"{number:f} %"


def _force_error(fault: Record) -> str:
    if "segments" in fault:
        return "gave a wrong force in part of its range"
    if not Decimal(str(fault["delta_rel"])):
        if not Decimal(str(fault.get("U_delta_rel", 0))):
            return "gave the true force that was recorded: a fault that was thought of was none"
        return f"was less certain than was stated (by {percent(fault.get('U_delta_rel', 0))})"
    return f"gave a true force {_more(fault['delta_rel'])} than was recorded"


def _more(relative: object) -> str:
    return f"{percent(relative)} {'smaller' if Decimal(str(relative)) < 0 else 'larger'}"


def _indicates(fault: Record) -> str:
    sign = "low" if Decimal(str(fault["indication_rel"])) < 0 else "high"
    return f"indicated {percent(fault['indication_rel'])} too {sign}"


_FAULTS: Mapping[str, Callable[[Record], str]] = {
    "true_force_relative_error": _force_error,
    "indicates_high": _indicates,
    "wrong_correction_factor": lambda fault: (
        f"was used with the correction factor {fault['factor_applied']} where "
        f"{fault['factor_right']} is right"
    ),
    "indication_effect_by_type": lambda fault: (
        "changed the indication of instruments, by an amount that depends on their type"
    ),
    "readout_gain": lambda fault: f"had a wrong gain on one channel (factor {fault['gain']})",
    "interval": lambda fault: f"may have been wrong by up to {percent(fault['bound_rel'])}",
    "understated_uncertainty": lambda fault: (
        f"was less certain than was stated ({percent(fault['U_rel_right'])} where "
        f"{percent(fault['U_rel_recorded'])} was recorded)"
    ),
    "true_force_offset": lambda fault: (
        f"gave a true force that differed by {fault['delta_force']} {fault['unit']} from what was "
        "recorded"
    ),
    "wrong_curve": lambda fault: (
        "was read by a curve with wrong coefficients, so that the true force differed from what "
        "was recorded by a share that depends on the force"
    ),
    "unknown": lambda fault: "was found not to be in order; by how much is not known",
    "linear_drift": lambda fault: (
        f"drifted until the true force was {_more(fault['delta_rel'])} than was recorded"
    ),
}


def effect_in_words(list_name: str, reasons: Iterable[str], *, given_back: bool = False) -> str:
    """Return what a list means for a certificate; of one in doubt with the reasons, in words.

    `given_back` says that a correction made before is withdrawn.
    """
    if given_back:
        return GIVEN_BACK
    return EFFECTS[list_name].format(why="; ".join(DOUBTS[one] for one in reasons))


def action_in_words(
    action: str | None,
    *,
    corrected: bool,
    fails: bool = False,
    silent: bool = False,
    reason: str | None = None,
) -> str:
    """Return what is to be done with a certificate, and the reason that was written for it.

    `corrected` says whether a corrected value is given at every point, `fails` whether a verdict
    becomes or could become fail, `silent` whether one is stated no more: then no words say that
    nothing need be done.
    """
    if action == "no_action" and fails:
        said = NO_ACTION_ON_FAIL
    elif action == "no_action" and silent:
        said = NO_ACTION_ON_SILENCE
    elif not corrected and action in ACTIONS_IN_DOUBT:
        said = ACTIONS_IN_DOUBT[action]
    else:
        said = ACTIONS[action]
    return said if reason is None else f"{said} Our reason: {reason}"


def period_in_words(start_us: int | None, end_us: int | None, zone: ZoneInfo) -> str:
    """Return a period in the laboratory's zone."""
    since = "an unknown time" if start_us is None else local_time(start_us, zone)
    until = "now" if end_us is None else local_time(end_us, zone)
    return f"from {since} to {until}"


def local_time(at_us: int, zone: ZoneInfo) -> str:
    """Return an instant to the minute, with its offset.

    >>> local_time(0, ZoneInfo("UTC"))
    '1970-01-01 00:00 UTC+00:00'
    """
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us)
    text = at.astimezone(zone).isoformat(sep=" ", timespec="minutes")
    return f"{text[:16]} UTC{text[16:]}"


def now_in_words(shifted: bool | None, adjusted: bool, again: str | None) -> tuple[str, str]:
    """Return whether the item may be reading wrong now (yes, no, unknown), and why in words.

    `shifted` says whether a value it was left with moved, None where nobody knows; `again` how it
    was calibrated since, by something that this fault does not reach.
    """
    if again is not None:
        return "no", f"The item was calibrated again since ({again}), which this does not concern."
    if shifted is None:
        return "unknown", NOW_UNKNOWN
    if not shifted:
        return "no", "The values that the item was left with do not change."
    if adjusted:
        return "yes", "The item was adjusted to wrong values, so that it may be reading wrong now."
    return "yes", (
        "The item itself was not adjusted, but the errors stated for it are wrong: readings that "
        "were corrected or accepted by this certificate may be wrong now."
    )


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
