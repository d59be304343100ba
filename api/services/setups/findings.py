"""The form of a finding: one comparison of a planned set-up with what is required or recorded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import plain
from api.rules.fitting.effects import Effect, likely_effect
from api.rules.fitting.fit import Fit, same_word
from api.rules.fitting.lengths import Length, UnreadableLength, parse_length
from api.services.base.record import Record
from api.services.setups.setup_comparisons import MeasuredEffect
from api.services.setups.setups import Piece, Setup

DIFFERS, AGREES, NOT_CHECKED = "differs", "agrees", "not_checked"


def finding(
    check: str, outcome: str, about: Iterable[Piece | str], sentence: str, **more: object
) -> Record:
    """Make a finding; what is None is left out of it."""
    codes = [one if isinstance(one, str) else one.code for one in about]
    told: Record = {"check": check, "outcome": outcome, "about": codes, "sentence": sentence}
    return told | {name: value for name, value in more.items() if value is not None}


def effect_of(setup: Setup, difference: str) -> Record | None:
    """Return the likely effect of a difference as a finding shows it, None where nobody says."""
    found = setup.measured.get(difference)
    known = likely_effect(setup.type, difference, None if found is None else _measured(found))
    return None if known is None else dict(known.to_mapping())


def _measured(found: MeasuredEffect) -> Effect:
    """Return what a comparison of set-ups found, with its uncertainty on both sides."""
    effect = Decimal(found.effect_rel)
    spread = Decimal(found.U_delta_rel or 0)
    source = f"set-up comparison {found.comparison} of this laboratory, {found.performed_at}"
    return Effect(plain(effect - spread), plain(effect + spread), source)


def names(pieces: Sequence[Piece]) -> str:
    """Return the ids of pieces for a sentence."""
    return ", ".join(one.code for one in pieces)


def worst(findings: Sequence[Record]) -> str:
    """Return the worst outcome: differs, else not_checked, else agrees."""
    outcomes = {one["outcome"] for one in findings}
    return next((one for one in (DIFFERS, NOT_CHECKED) if one in outcomes), AGREES)


def off_by(fit: Fit, unit: str) -> Record:
    """Return a deviation as a finding shows it; `fit` is in this unit."""
    relative = None if fit.relative is None else plain(fit.relative)
    return {"absolute": f"{plain(fit.off_by)} {unit}", "relative": relative}


def length_of(value: object) -> tuple[Length | None, str | None]:
    """Return a recorded length, or None and why it cannot be read; both None if there is none."""
    if value is None:
        return None, None
    try:
        return parse_length(value), None
    except UnreadableLength as error:
        return None, str(error)


def tolerances(required: Record) -> tuple[Fraction, Fraction]:
    """Return the upper and lower tolerance of a required pin, in mm, by their sizes."""
    plus, minus = (
        parse_length(required[name]).mm if name in required else Fraction(0)
        for name in ("tolerance_plus", "tolerance_minus")
    )
    return plus, minus


def in_mm(length: Length) -> str:
    """Write a length as it was recorded, with the millimetres if those are others.

    >>> in_mm(parse_length("2 in")), in_mm(parse_length("50 mm"))
    ('2 in (50.8 mm)', '50 mm')
    """
    written = f"{plain(length.mm)} mm"
    return length.text if length.text == written else f"{length.text} ({written})"


def word_finding(setup: Setup, check: str, one: Piece, required: str, required_by: str) -> Record:
    """Compare a word that an item has as a property with the required one."""
    found = one.stated(check)
    more: Record = {"position": one.place, "required": required, "required_by": required_by}
    words = check.replace("_", " ")
    if not isinstance(found, str):
        return unknown_finding(setup, check, one, None, more)
    said = f"The {words} of {one.code} is {found}; {setup.name} requires {required}."
    if same_word(required, found):
        return finding(check, AGREES, [one], said, found=found, **more)
    return finding(
        check,
        DIFFERS,
        [one],
        said,
        found=found,
        likely_effect=effect_of(setup, check),
        remedy=f"use one whose {words} is {required}",
        **more,
    )


def unknown_finding(
    setup: Setup, check: str, one: Piece, unreadable: str | None, more: Record
) -> Record:
    """Say that the property that a check is named after is missing, or cannot be read."""
    said = f"{check} of {one.code} is not recorded" if unreadable is None else unreadable
    return finding(
        check,
        NOT_CHECKED,
        [one],
        f"{said}; it cannot be compared with the required {more['required']}.",
        missing=f"the property {check} of {one.code}",
        likely_effect=effect_of(setup, check),
        remedy=f"record {check} with its unit at PATCH /v1/items/{one.code}",
        **more,
    )
