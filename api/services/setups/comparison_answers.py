"""How a set-up comparison is answered: numbers as text, tests with their reasons, one sentence.

Choice: means and differences are written in full up to 34 digits and with 12 beyond, as everything
else that has no end, so that a recall can read them back.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from typing import Any

from api.rules import ENGINE_VERSION
from api.rules.exact import plain, ratio, reported_uncertainty
from api.rules.fitting.lengths import UnreadableLength, parse_length
from api.rules.uncertainty.comparison import NormalizedError, PointComparison, SetupComparison
from api.rules.uncertainty.setup_effect import U_DELTA_K, Contribution, SetupEffect
from api.rules.uncertainty.t_tests import TTest
from api.services.base.cautions import CAUTIONS
from api.services.base.record import Record
from api.services.base.texts import texted

_STATED = (
    *("pin_diameter", "shackle_style", "shackle_size", "rod_thread"),
    *("roller_bearings", "spherical_seat"),
)
# What the sentence calls the test that decided.
_BASES = {
    "runs": "from run to run",
    "points": "from point to point",
    "resolution": "against the resolution",
    "E_n": "by E_n",
    None: "not tested: nothing was repeated and no uncertainties were stated",
}
_CANCELLED = "not tested: nothing was repeated, and all of the stated uncertainties is common"
# Digits of a percentage in a sentence, where a division has more; the numbers beside it have all.
_SHARE_DIGITS = 4


def comparison_answer(
    request: Mapping[str, Any],
    instrument: Mapping[str, Any],
    found: SetupComparison,
    effect: SetupEffect,
) -> Record:
    """Return the JSON form of a comparison, without its id."""
    setups = request["setups"]
    return {
        "instrument": dict(instrument),
        "unit": request["unit"],
        "setups": texted(setups),
        "differ_in": [
            name
            for name in _STATED
            if name in setups["usual"]
            and name in setups["other"]
            and _differ(setups["usual"][name], setups["other"][name])
        ],
        "performed_at": request["performed_at"],
        "person": request["person"],
        "sentence": _sentence(request, instrument["type"], found),
        "confidence": plain(request["confidence"]),
        "points": [_point(point, request["unit"]) for point in found.points],
        "overall": _overall(found, request["weighting"]),
        "effect": _effect(effect, instrument["type"]),
        "cautions": list(CAUTIONS),
        "engine_version": ENGINE_VERSION,
    }


def _differ(usual: Any, other: Any) -> bool:
    """Whether two properties differ; lengths are compared as such, in whatever unit."""
    try:
        return parse_length(usual).mm != parse_length(other).mm
    except UnreadableLength:
        return bool(usual != other)


def _percent(share: Fraction) -> str:
    """Write a share of the applied force in percent."""
    percent = ratio(share * 100, Fraction(1))
    if len(percent.normalize().as_tuple().digits) > _SHARE_DIGITS:
        percent = Context(prec=_SHARE_DIGITS, rounding=ROUND_HALF_EVEN).plus(percent)
    return f"{plain(percent)} %"


def _sentence(request: Mapping[str, Any], kind: str, found: SetupComparison) -> str:
    largest, setups = found.largest, request["setups"]
    judged = {True: "significant", False: "not significant", None: "undecided"}[found.significant]
    mean = _percent(found.mean_rel)
    return (
        f'With the set-up "{setups["other"]["name"]}" in the place of '
        f'"{setups["usual"]["name"]}" the reading of a {kind} changes by {mean} of the applied '
        f"force on average over {len(found.points)} point(s), at most by "
        f"{_written(largest.difference)} {request['unit']} ({_percent(largest.difference_rel)}) at "
        f"{plain(largest.applied)} {request['unit']}: {judged} ({_basis(found)})."
    )


def _basis(found: SetupComparison) -> str:
    """Say which test decided, or why none did."""
    stated = any(point.normalized_error is not None for point in found.points)
    return _CANCELLED if found.basis is None and stated else _BASES[found.basis]


def _point(point: PointComparison, unit: str) -> Record:
    shown: Record = {
        "applied": plain(point.applied),
        "usual_mean": _written(point.usual_mean),
        "other_mean": _written(point.other_mean),
        "difference": _written(point.difference),
        "difference_rel": _written(point.difference_rel),
        **_test(point.test),
    }
    if point.normalized_error is not None:
        shown["E_n"] = _normalized(point.normalized_error)
    shown["component"] = _component(abs(point.difference) / 2, f"at {plain(point.applied)} {unit}")
    return shown


def _overall(found: SetupComparison, weighting: str) -> Record:
    largest = found.largest
    # In percent of the point, as budgets take relative figures.
    half_width = abs(largest.difference_rel) / 2 * 100
    return {
        "mean_rel": _written(found.mean_rel),
        "weighting": weighting,
        "largest": {
            "applied": plain(largest.applied),
            "difference_rel": _written(largest.difference_rel),
        },
        "half_range_rel": _written(found.half_range_rel),
        "over_runs": None if found.over_runs is None else _test(found.over_runs),
        "over_points": _test(found.over_points),
        "basis": found.basis,
        "significant": found.significant,
        "component": _component(half_width, "largest over the points") | {"relative": True},
    }


def _component(half_width: Fraction, where: str) -> Record:
    """Return the component of a budget whose value is the middle of the two set-ups."""
    return {
        "name": "adapter",
        "distribution": "rectangular",
        "half_width": _written(half_width),
        "source": f"half the difference of two set-ups, {where} (JCGM 100:2008, 4.3.7); for a "
        "value taken with one of them and not corrected to the middle, double it",
    }


def _test(test: TTest) -> Record:
    interval = None
    if test.lower is not None and test.upper is not None:
        interval = {"lower": plain(test.lower), "upper": plain(test.upper)}
    shown: Record = {
        "method": test.method,
        "values": test.values,
        "standard_uncertainty": _text(test.standard_uncertainty),
        "dof": _text(test.dof),
        "t": _text(test.t),
        "p_value": test.p_value,
        "interval": interval,
        "significant": test.significant,
    }
    return shown if test.reason is None else shown | {"reason": test.reason}


def _normalized(error: NormalizedError) -> Record:
    shown: Record = {"value": _text(error.value), "exceeds": error.exceeds}
    return shown if error.reason is None else shown | {"reason": error.reason}


def _effect(effect: SetupEffect, kind: str) -> Record:
    U = effect.U_delta_rel
    shown: Record = {
        "instrument_type": kind,
        "effect_rel": _written(effect.effect_rel),
        "U_delta_rel": _text(U),
        "U_delta_k": plain(U_DELTA_K),
        "U_reported": None if U is None else plain(reported_uncertainty(U)),
        "contributions": [_contribution(part) for part in effect.contributions],
    }
    return shown if effect.reason is None else shown | {"reason": effect.reason}


def _contribution(part: Contribution) -> Record:
    shown: Record = {"name": part.name, "u_rel": plain(part.u_rel), "dof": _text(part.dof)}
    if part.half_width_rel is not None:
        shown["half_width_rel"] = _written(part.half_width_rel)
    return shown


def _text(number: Decimal | None) -> str | None:
    return None if number is None else plain(number)


def _written(number: Fraction) -> str:
    # A Fraction that ends would be written in full, however long it is.
    return plain(ratio(number, Fraction(1)))


def numbered(readings: Sequence[Decimal | None]) -> dict[int, Decimal]:
    """Return readings by run number, without the runs that were not made."""
    return {run: reading for run, reading in enumerate(readings, 1) if reading is not None}
