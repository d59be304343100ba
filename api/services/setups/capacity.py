"""Is every part strong enough for the highest planned force? The weakest rated part is named.

Choice: rated capacities are compared with the force exactly, whatever their units; the machine, the
references (with their share of the force), the instrument, every fitting and every part are asked.
A part whose rated capacity is not recorded is named, and not taken to be strong.

Not checked: the effect of side loads and shocks on what a part may carry.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from api.rules.exact import plain
from api.rules.fitting.fit import compare
from api.rules.units import factor, parse_quantity
from api.services.base.record import Record
from api.services.records.items import newtons, rated_capacity
from api.services.setups.findings import AGREES, DIFFERS, NOT_CHECKED, finding, names, off_by
from api.services.setups.setups import Piece, Setup


class _Strength(NamedTuple):
    """How much of the whole force something may carry; no piece for a mere type of instrument."""

    newtons: Fraction
    name: str
    written: str
    piece: Piece | None


def capacity_findings(setup: Setup) -> Iterator[Record]:
    """Compare the weakest rated part, and every other that is too weak, with the highest force."""
    if setup.highest is None:
        yield finding(
            "rated_capacity",
            NOT_CHECKED,
            [],
            "No force is planned; it cannot be compared with the rated capacities.",
            missing="planned_points in the request",
            remedy="send planned_points with their unit",
        )
        return
    strengths: list[_Strength] = []
    unknown = []
    for one in (one for one in setup.everything if one not in setup.readouts):
        written = rated_capacity(one.item)
        strength = newtons(written)
        if strength is None or written is None:
            unknown.append(one)
        else:
            # A reference that carries a share of the force may carry more of it.
            strengths.append(_Strength(strength / Fraction(one.weight), one.code, written, one))
    stated = newtons(setup.capacity) if setup.instrument is None else None
    if stated is not None and setup.capacity is not None:
        strengths.append(_Strength(stated, setup.name, setup.capacity, None))
    strengths.sort(key=lambda one: one[:2])
    for place, strong in enumerate(strengths):
        if place == 0 or strong.newtons < setup.highest[1]:
            yield _capacity(setup.highest, strong, weakest=place == 0)
    if unknown or not strengths:
        who = names(unknown) or setup.name
        yield finding(
            "rated_capacity",
            NOT_CHECKED,
            unknown,
            f"The rated capacity of {who} is not recorded, or cannot be read.",
            missing="the capacity, or the property rated_capacity, with its unit",
            remedy="record it from the marking of the part",
        )


def _capacity(highest: tuple[str, Fraction], one: _Strength, *, weakest: bool) -> Record:
    unit = parse_quantity(highest[0])[1]
    fit = compare(highest[1] / factor(unit), one.newtons / factor(unit))
    which = "is the weakest rated part" if weakest else "is too weak as well"
    about = [] if one.piece is None else [one.piece]
    more: Record = {"required": highest[0], "found": one.written, "off_by": off_by(fit, unit)}
    if one.piece is not None:
        more["position"] = one.piece.place
        if one.piece.weight != 1:
            more["computed"] = {"share": format(one.piece.weight, "f")}
    said = f"{one.name}, rated {one.written}, {which}; the highest planned force is {highest[0]}"
    if fit.off_by >= 0:
        return finding("rated_capacity", AGREES, about, f"{said}.", **more)
    return finding(
        "rated_capacity",
        DIFFERS,
        about,
        f"{said}, which is {plain(-fit.off_by)} {unit} more.",
        remedy="plan no more than it is rated for, or take another part",
        **more,
    )
