"""What does an angle of the load line do to this set-up: cosine error and side load, computed.

The limit comes from the requirement record; without one the figures are given and nothing is
judged.
"""

from __future__ import annotations

from decimal import Context, Decimal
from fractions import Fraction

from api.rules.exact import plain
from api.rules.fitting import alignment
from api.rules.fitting.fit import at_most
from api.rules.units import parse_quantity
from api.services.base.record import Record
from api.services.setups.findings import AGREES, DIFFERS, NOT_CHECKED, effect_of, finding, off_by
from api.services.setups.setups import Setup

_THREE = Context(prec=3)


def angle_finding(setup: Setup) -> Record:
    """Return the finding on the angle, with what it does at the highest planned force."""
    angle: Decimal | None = setup.request.get("misalignment_deg")
    allowed = setup.required.get("max_misalignment_deg")
    about = [setup.instrument] if setup.instrument else []
    effect = effect_of(setup, "misalignment")
    more: Record = {"required": allowed, "required_by": setup.required_by if allowed else None}
    if angle is None:
        return finding(
            "misalignment",
            NOT_CHECKED,
            about,
            "The angle between the load line and the axis of the instrument is not given.",
            missing="misalignment_deg in the request",
            likely_effect=effect,
            remedy="measure the angle, and send misalignment_deg",
            **more,
        )
    more |= {"found": format(angle, "f"), "computed": _computed(setup, angle)}
    said = _angle_sentence(setup, angle, more["computed"])
    if allowed is None:
        return finding(
            "misalignment",
            NOT_CHECKED,
            about,
            f"{said} No limit is recorded.",
            missing="max_misalignment_deg in the requirement",
            likely_effect=effect if angle else None,
            **more,
        )
    fit = at_most(Fraction(allowed), Fraction(angle))
    more["off_by"] = off_by(fit, "deg")
    if fit.agrees:
        return finding("misalignment", AGREES, about, f"{said} At most {allowed} deg.", **more)
    return finding(
        "misalignment",
        DIFFERS,
        about,
        f"{said} {setup.name} allows {allowed} deg.",
        likely_effect=effect,
        remedy="align the load line, or use a fitting that takes up the angle",
        **more,
    )


def _computed(setup: Setup, angle: Decimal) -> Record:
    cosine, side = alignment.cosine_error(angle), alignment.side_share(angle)
    found = {"cosine_error_rel": plain(cosine), "side_load_rel": plain(side)}
    if setup.highest is not None:
        force, unit = parse_quantity(setup.highest[0])
        found["side_load"] = f"{plain(alignment.part_of(force, side))} {unit}"
        found["lost_force"] = f"{plain(alignment.part_of(force, cosine))} {unit}"
    return found


def _angle_sentence(setup: Setup, angle: Decimal, computed: Record) -> str:
    said = (
        f"At {angle:f} deg the axis gets {_percent(computed['cosine_error_rel'])} less of the force"
    )
    side = f"{_percent(computed['side_load_rel'])} of it pushes sideways"
    if setup.highest is None:
        return f"{said}, and {side}."
    return f"{said}, and {side}: {computed['side_load']} at {setup.highest[0]}."


def _percent(share: str) -> str:
    """Write a share in percent with three digits, for a sentence; the figures have all of them."""
    return f"{_THREE.multiply(Decimal(share), Decimal(100)).normalize():f} %"
