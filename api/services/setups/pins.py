"""Do pins and shackles fit? Their size, style and place, compared with the required ones.

Choice: sizes are compared exactly, whatever unit each was recorded in; a pin without a record of
its diameter is not guessed from its capacity. A pin that stands at no known place is not counted as
the one at the top or bottom.

Not checked: wear, which is another finding, and whether the figure is that of this very pin.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from api.rules.exact import plain
from api.rules.fitting.fit import compare, same_word
from api.rules.fitting.lengths import parse_length
from api.services.base.record import Record
from api.services.setups.findings import (
    AGREES,
    DIFFERS,
    NOT_CHECKED,
    effect_of,
    finding,
    in_mm,
    length_of,
    off_by,
    tolerances,
    unknown_finding,
    word_finding,
)
from api.services.setups.setups import Piece, Setup

PIN_SLOTS = {"pin": None, "top_pin": "top", "bottom_pin": "bottom"}
_CAPACITY_IS_NO_SIZE = "a larger rated capacity does not mean a larger pin"


def pins_of(setup: Setup) -> list[Piece]:
    """Return the pins: items of that type, else what states the diameter of a fitting's pin."""
    pins = [one for one in setup.pieces if one.is_pin]
    with_pin = {one.fitting for one in pins}
    stated = [
        one
        for one in setup.pieces
        if one.fitting not in with_pin and one.stated("pin_diameter") is not None
    ]
    return pins + stated


def pin_findings(setup: Setup) -> Iterator[Record]:
    """Compare every pin with what is required where it stands."""
    pins = pins_of(setup)
    for slot, place in PIN_SLOTS.items():
        required = setup.required.get(slot)
        if required is None:
            continue
        there = [one for one in pins if place in (None, one.place)]
        for pin in there:
            yield _pin(setup, required, pin, place)
        if not there:
            yield _no_pin(setup, required, place, [one for one in pins if one.place is None])


def _no_pin(setup: Setup, required: Record, place: str | None, unplaced: Sequence[Piece]) -> Record:
    where = f" at the {place}" if place else ""
    what = "the position of the fitting that holds it" if unplaced else "the pin of the set-up"
    return finding(
        "pin_diameter",
        NOT_CHECKED,
        unplaced,
        f"{setup.name} requires a pin of {in_mm(parse_length(required['diameter']))}{where}; "
        f"none is known to be there.",
        position=place,
        required=required["diameter"],
        required_by=setup.required_by,
        missing=what,
        likely_effect=effect_of(setup, "pin_diameter"),
        remedy="name the fitting with its position, and record which pin it holds",
    )


def _pin(setup: Setup, required: Record, pin: Piece, place: str | None) -> Record:
    wanted = parse_length(required["diameter"])
    length, unreadable = length_of(pin.stated("pin_diameter"))
    more = {
        "position": place or pin.place,
        "required": required["diameter"],
        "required_by": setup.required_by,
    }
    if length is None:
        return unknown_finding(setup, "pin_diameter", pin, unreadable, more)
    fit = compare(wanted.mm, length.mm, *tolerances(required))
    more |= {"found": length.text, "off_by": off_by(fit, "mm")}
    said = f"Pin {pin.code} measures {in_mm(length)}; {setup.name} requires {in_mm(wanted)}"
    if fit.agrees:
        return finding("pin_diameter", AGREES, [pin], f"{said}: it agrees.", **more)
    size = "small" if fit.off_by < 0 else "large"
    return finding(
        "pin_diameter",
        DIFFERS,
        [pin],
        f"{said}: it is {plain(abs(fit.off_by))} mm too {size}.",
        likely_effect=effect_of(setup, "pin_diameter"),
        remedy=f"fit a pin of {wanted.text}, see shelf; {_CAPACITY_IS_NO_SIZE}",
        **more,
    )


def place_findings(setup: Setup) -> Iterator[Record]:
    """Compare where parts stand with where they are marked to stand."""
    for one in setup.pieces:
        marked = one.stated("position")
        if not isinstance(marked, str):
            continue
        more = {"position": one.place, "required": marked, "found": one.place}
        if one.place is None:
            yield finding(
                "pin_position",
                NOT_CHECKED,
                [one],
                f"{one.code} is marked for the {marked}; where it stands is not said.",
                missing="the position of its fitting",
                remedy='send "position": "top" or "bottom" with the fitting',
                **more,
            )
        elif same_word(marked, one.place):
            said = f"{one.code} stands at the {one.place}, as it is marked."
            yield finding("pin_position", AGREES, [one], said, **more)
        else:
            said = f"{one.code} is marked for the {marked} and stands at the {one.place}."
            remedy = "put it in its marked place"
            yield finding("pin_position", DIFFERS, [one], said, remedy=remedy, **more)


def shackle_findings(setup: Setup) -> Iterator[Record]:
    """Compare every shackle with the required style and size."""
    required = setup.required.get("shackle")
    if required is None:
        return
    shackles = [one for one in setup.pieces if one.is_shackle]
    if not shackles:
        yield finding(
            "shackle",
            NOT_CHECKED,
            [],
            f"{setup.name} requires a shackle; none is known to be in the set-up.",
            required=" ".join(required[name] for name in ("style", "size") if name in required),
            required_by=setup.required_by,
            missing="the shackle of the set-up",
            remedy="name the shackle among the fittings",
        )
    for one in shackles:
        if "style" in required:
            yield word_finding(setup, "shackle_style", one, required["style"], setup.required_by)
        if "size" in required:
            yield _shackle_size(setup, one, required["size"])


def _shackle_size(setup: Setup, one: Piece, required: str) -> Record:
    wanted = parse_length(required)
    length, unreadable = length_of(one.stated("shackle_size"))
    more: Record = {"position": one.place, "required": required, "required_by": setup.required_by}
    if length is None:
        return unknown_finding(setup, "shackle_size", one, unreadable, more)
    fit = compare(wanted.mm, length.mm)
    more |= {"found": length.text, "off_by": off_by(fit, "mm")}
    said = f"Shackle {one.code} is of size {in_mm(length)}; {setup.name} requires {in_mm(wanted)}"
    if fit.agrees:
        return finding("shackle_size", AGREES, [one], f"{said}: it agrees.", **more)
    return finding(
        "shackle_size",
        DIFFERS,
        [one],
        f"{said}.",
        likely_effect=effect_of(setup, "shackle_size"),
        remedy="use the same size and style as the instrument is used with, see shelf",
        **more,
    )
