"""A budget of stored runs: its points are the forces of the runs, their contributions among it.

Choice: a budget that names a run evaluation and no point is for every force of it; one that names
points, for these. The contributions of the runs come first, then what was sent for all points, then
what was sent for one. Mode and type of instrument are those of the runs unless they are sent.

Not checked: that what was sent is not among the contributions of the runs under another name.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, UnknownReference, pointer
from api.rules.exact import FieldError
from api.rules.units import convert, is_force
from api.services.base.record import Record
from api.services.uncertainty.run_links import REMEDY, Run, find
from api.store.tables import Item

_WORDS = ("name", "kind", "distribution", "source", "unit", "note")


def headed(session: Session, request: Mapping[str, Any]) -> Record:
    """Return a budget's request with the mode and type of instrument of the runs that it names.

    Raises UnknownReference for runs that are not recorded, InvalidRecord for those of another mode.
    """
    found = dict(request)
    run = _named(session, request)
    if run is None:
        return found
    mode = run.said("mode")
    if mode is not None and found.setdefault("mode", mode) != mode:
        detail = f"run evaluation {run.row.id} was in {mode}"
        remedy = "leave the mode out, or name runs of this mode"
        raise InvalidRecord(detail, [Issue("/mode", detail, remedy, str(found["mode"]))])
    if run.row.item_id is not None:
        kind = session.scalar(select(Item.type).where(Item.id == run.row.item_id))
        if kind is not None:
            found.setdefault("instrument_type", kind)
    return found


def with_points(session: Session, request: Mapping[str, Any]) -> Record:
    """Return a budget's request with the points of the runs that it names, if any.

    Each has the contributions of the runs at its force under `of_runs`. Raises UnknownReference as
    `headed` does, FieldError for a point that is none of the runs'.
    """
    found = dict(request)
    run = _named(session, request)
    if run is None:
        return found
    if "point" in request:
        return found | {"point": _joined(run, request["point"], pointer("point"))}
    sent = request.get("points")
    if sent is None:
        sent = [{"value": force, "unit": run.unit} for force in run.forces]
    joined = [_joined(run, one, pointer("points", place)) for place, one in enumerate(sent)]
    return found | {"points": joined}


def gaps(session: Session, request: Mapping[str, Any]) -> list[str]:
    """Return a note on what the runs of a budget could not give; empty where nothing is missing."""
    run = _named(session, request)
    labels = [] if run is None else run.left_out()
    if run is None or not labels:
        return []
    named = ", ".join(labels)
    return [
        f"Run evaluation {run.row.id} could not give {named} at every force; add what is missing "
        "to the components."
    ]


def _named(session: Session, request: Mapping[str, Any]) -> Run | None:
    key = request.get("run_evaluation")
    if key is None:
        return None
    run = find(session, key)
    if run is None:
        detail = f"run evaluation {key} is not recorded"
        raise UnknownReference(detail, [Issue("/run_evaluation", detail, REMEDY, str(key))])
    return run


def _joined(run: Run, point: Mapping[str, Any], place: str) -> Record:
    """Return a point with the contributions of the runs at its force."""
    value, unit = point["value"], point["unit"]
    if not is_force(unit):
        raise FieldError(f"{place}/unit", f"the runs are in {run.unit}; send a unit of force")
    forces = run.forces
    same = [n for n, force in enumerate(forces) if convert(value, unit, run.unit) == force]
    if not same:
        listed = ", ".join(format(force, "f") for force in forces)
        detail = f"the runs have no force of {value} {unit}; they have {listed} {run.unit}"
        raise FieldError(f"{place}/value", detail)
    # They are in percent of the force as the runs have it, whatever the unit of the point.
    own = [_loaded(one) | {"unit": run.unit} for one in run.components(same[0])]
    return {**point, "of_runs": own}


def _loaded(component: Mapping[str, Any]) -> Record:
    """Return a contribution of stored runs as a request loads it: its figures as Decimals."""
    return {
        name: Decimal(part) if isinstance(part, str) and name not in _WORDS else part
        for name, part in component.items()
    }
