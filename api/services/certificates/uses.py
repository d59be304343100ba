"""Use rows of a calibration: which item served, with what share, on which points."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from api.services.base.record import Record
from api.services.base.recording import ItemFacts, Recording, remarks
from graph.moments import Moment


def use_row(
    recording: Recording,
    use: Record,
    position: int,
    performed: Moment,
    points: set[str],
    place: str,
) -> dict[str, Any]:
    """Return the row of one use; faults are noted at `place`.

    `performed` is the moment of the calibration, `points` the names of its points.
    """
    item = recording.item(use["item"], f"{place}/item")
    at = recording.moment(use["performed_at"]) if "performed_at" in use else performed
    if item is not None:
        _refuse_too_early(recording, item, at, place, use)
    _refuse_unknown_points(recording, use, points, place)
    return {
        "position": position,
        "item_id": item.key if item else None,
        "role": use["role"],
        "weight": _weight(use.get("weight")),
        "channel": use.get("channel"),
        "points": use.get("points"),
        "performed_at": use.get("performed_at"),
        "used_us": at.start_us,
        "used_end_us": at.end_us,
        "factor_applied": use.get("factor_applied"),
        "named_certificate": use.get("certificate"),
        "named_revision": use.get("revision"),
        "override": use.get("override"),
        "note": use.get("note"),
        "remarks": remarks(use),
    }


def _refuse_too_early(
    recording: Recording, item: ItemFacts, at: Moment, place: str, use: Record
) -> None:
    if item.in_service_us is None or at.end_us >= item.in_service_us:
        return
    recording.refuse(
        f"{place}/performed_at" if "performed_at" in use else f"{place}/item",
        f'"{item.code}" was used before it existed',
        "check the date of the use, or the item's in_service_from",
        item.code,
    )


def _refuse_unknown_points(recording: Recording, use: Record, points: set[str], place: str) -> None:
    """A use serves points of the calibration, and weights by point name every one of them."""
    served = points
    if "points" in use:
        served = {str(point) for point in use["points"]}
        for name in sorted(served - points):
            remedy = "name points of the results"
            recording.refuse(f"{place}/points", f"there is no point {name}", remedy, name)
    weight = use.get("weight")
    if not isinstance(weight, dict):
        return
    for name in sorted(served - set(weight)):
        remedy = "a mapping of weights names every point that the use served"
        recording.refuse(f"{place}/weight", f"no weight for point {name}", remedy, name)
    for name in sorted(set(weight) - points):
        remedy = "name points of the results"
        recording.refuse(f"{place}/weight", f"there is no point {name}", remedy, name)


def _weight(weight: Decimal | dict[str, Decimal] | None) -> Any:
    if isinstance(weight, dict):
        return {point: format(share, "f") for point, share in weight.items()}
    return None if weight is None else format(weight, "f")
