"""What does a result take from its runs? Force, indication, error, and U where no budget states it.

Choice: a value that was sent beside one that is taken must be the same number; U may be a rounding
of it, since that is how it is written. Otherwise the field is refused by name, with both values:
nothing stands in two places that differ. A result at zero force is its own; runs have none. Results
at falling force are made of runs only where they are sent with their direction: U of the runs lacks
reversibility, and whoever states them must see to it that the budget has it.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

from api.rules.uncertainty.rounding import is_rounding_of
from api.rules.units import convert, is_force
from api.services.base.record import Record
from api.services.base.recording import Recording
from api.services.base.units import PERCENT
from api.services.certificates.results import is_relative
from api.services.uncertainty.run_links import Run

RISING = "increasing"
_UNCERTAINTY = ("U", "U_rel_pct")
_REMEDY = "leave it out, or name the runs that it is from"


def of_every_force(run: Run, stage: str) -> list[Record]:
    """Return one result for each rising force of runs, to be filled."""
    rising = {"direction": RISING} if run.falls else {}
    return [
        {"point": number, "stage": stage, "applied": force, "unit": run.unit, **rising}
        for number, force in enumerate(run.forces, 1)
    ]


def filled(
    recording: Recording, run: Run, result: Record, place: str, *, has_budget: bool
) -> Record:
    """Return a result with what it takes from its runs, and the names of that under `taken`.

    Faults are noted at `place`; then the result comes back as far as it could be filled.
    """
    if result.get("applied") is not None and not result["applied"]:
        return result
    if not is_force(result.get("unit") or run.unit):
        detail = f"run evaluation {run.row.id} is in {run.unit}"
        recording.refuse(f"{place}/unit", detail, "send a unit of force", result["unit"])
        return result
    number = _number(recording, run, result, place)
    if number is None:
        return result
    try:
        values = run.values(number, result.get("direction"), result.get("unit"))
    except LookupError as none:
        remedy = "name runs that were read at falling force, or mend the direction"
        recording.refuse(f"{place}/direction", str(none), remedy, result["direction"])
        return result
    found = dict(result)
    for name, value in values.items():
        if found.get(name) is None:
            found[name] = value
        elif name != "applied" and found[name] != value:  # by that the force was found
            _differs(recording, run, place, name, value, found[name])
    _compare_percent(recording, run, found, place)
    taken = list(values)
    if not has_budget:
        taken += _uncertainty(recording, run, number, found, place)
    return found | {"taken": taken}


def _number(recording: Recording, run: Run, result: Record, place: str) -> int | None:
    """Return which force of the runs a result is at: by what was applied, else by its number."""
    forces, applied, point = run.forces, result.get("applied"), str(result["point"])
    listed = f"{', '.join(format(force, 'f') for force in forces)} {run.unit}"
    if applied is None:
        if point.isdecimal() and 1 <= int(point) <= len(forces):
            return int(point) - 1
        detail = f"run evaluation {run.row.id} has no force number {point}: {listed}"
        remedy = f"send applied, or a point from 1 to {len(forces)}"
        recording.refuse(f"{place}/point", detail, remedy, point)
        return None
    unit = result.get("unit") or run.unit
    force = convert(applied, unit, run.unit)
    same = [place for place, one in enumerate(forces) if one == force]
    if not same:
        detail = f"run evaluation {run.row.id} has no force of {applied:f} {unit}: {listed}"
        remedy = "send one of these, or name the runs at those results alone that are from them"
        recording.refuse(f"{place}/applied", detail, remedy, applied)
        return None
    return same[0]


def _compare_percent(recording: Recording, run: Run, found: Record, place: str) -> None:
    sent, error = found.get("error_rel_pct"), found.get("error")
    if sent is None or error is None:
        return
    percent = Fraction(error) * 100 / Fraction(found["applied"])
    last = Fraction(10) ** int(sent.as_tuple().exponent)
    if abs(Fraction(sent) - percent) > last / 2:  # as it would be rounded
        of = f"{error:f} of {found['applied']:f} {found['unit']}"
        _differs(recording, run, place, "error_rel_pct", of, sent)


def _uncertainty(
    recording: Recording, run: Run, number: int, found: Record, place: str
) -> list[str]:
    """Fill in U and k of runs that have them; return the names of what is theirs."""
    direction = found.get("direction")
    stated = [name for name in _UNCERTAINTY if found.get(name) is not None]
    wanted = stated or [_UNCERTAINTY[is_relative(found)]]
    names: list[str] = []
    for name in wanted:
        unit = PERCENT if name == "U_rel_pct" else found.get("unit") or run.unit
        own = run.uncertainty(number, direction, unit)
        for one, value in own.items():
            sent = found.get(one)
            if sent is None:
                found[one] = value
            elif not is_rounding_of(sent, value):
                _differs(recording, run, place, one, value, sent)
        names += [one for one in own if one not in names]
    return names


def _differs(
    recording: Recording, run: Run, place: str, name: str, value: Any, sent: object
) -> None:
    shown = format(value, "f") if isinstance(value, Decimal) else value
    detail = f"run evaluation {run.row.id} gives {shown}"
    remedy = _REMEDY
    if name in _UNCERTAINTY:
        remedy = "leave it out, or name the budget that it is from"
    recording.refuse(f"{place}/{name}", detail, remedy, sent)
