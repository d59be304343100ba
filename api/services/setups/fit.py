"""Does a set-up fit what the instrument requires? Bearings, seats, threads, orientation.

Choice: what is required comes from the requirement record; where that is silent, from the few rules
of common practice that stand as data beside the likely effects. What a record does not say is not
guessed: the finding then names the record that is missing.

Not checked: anything that is not recorded as a property of an item or stated in the request.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from api.rules.fitting.effects import practice
from api.rules.fitting.fit import same_word
from api.services.base.record import Record
from api.services.records.requirement_choice import BASES
from api.services.setups.angles import angle_finding
from api.services.setups.findings import (
    AGREES,
    DIFFERS,
    NOT_CHECKED,
    effect_of,
    finding,
    word_finding,
)
from api.services.setups.pins import pin_findings, place_findings, shackle_findings
from api.services.setups.setups import Piece, Setup


def fit_findings(setup: Setup) -> list[Record]:
    """Return what was found of the fit, in the order of the set-up's questions."""
    found = [_no_requirement(setup)] if setup.requirement is None else _of_others(setup)
    for part in _PARTS:
        found += part(setup)
    return [*found, angle_finding(setup)]


def _of_others(setup: Setup) -> list[Record]:
    """Say that the requirement is not that of the instrument's own model."""
    return [
        finding(
            "requirement",
            NOT_CHECKED,
            [setup.instrument] if setup.instrument else [],
            f"{note} What is compared is {setup.required_by}, recorded for "
            f"{BASES[str(setup.taken.basis)]}.",
            missing=f"a requirement for the make and model of {setup.name}",
            remedy="look its pins up in the papers of the model, and record them with their source",
        )
        for note in setup.taken.notes
    ]


def _no_requirement(setup: Setup) -> Record:
    said = f"No requirement is recorded for {setup.name}: whether pins and shackles fit is unknown."
    return finding(
        "requirement",
        NOT_CHECKED,
        [setup.instrument] if setup.instrument else [],
        " ".join([said, *setup.taken.notes]),
        missing=f"a requirement for {setup.name}, its make and model, or its type and capacity",
        remedy="record one at POST /v1/requirements, with its source",
    )


def _rollers(setup: Setup) -> Iterator[Record]:
    required, required_by = _asked(setup, "roller_bearings")
    if required is None:
        return
    groups: dict[str | None, list[Piece]] = {}
    for one in setup.pieces:
        groups.setdefault(one.fitting, []).append(one)
    for group in groups.values():
        yield _yes_or_no(setup, "roller_bearings", group, required, required_by)
    if not groups:
        yield _yes_or_no(setup, "roller_bearings", [], required, required_by)


def _seat(setup: Setup) -> Iterator[Record]:
    required, required_by = _asked(setup, "spherical_seat")
    if required is not None:
        # One seat in the stack is enough to take up an angle.
        yield _yes_or_no(setup, "spherical_seat", setup.pieces, required, required_by)


def _asked(setup: Setup, check: str) -> tuple[bool | None, str]:
    if check in setup.required:
        return setup.required[check], setup.required_by
    usual = practice(setup.type, check)
    return (None, "") if usual is None else (usual.required, usual.source)


def _yes_or_no(
    setup: Setup, check: str, pieces: Sequence[Piece], required: bool, required_by: str
) -> Record:
    known = [one for one in pieces if isinstance(one.stated(check), bool)]
    found = any(one.stated(check) for one in known)
    words = check.replace("_", " ")
    with_it = "with" if required else "without"
    who = ", ".join(one.code for one in known or pieces[:1]) or "the set-up"
    more: Record = {"required": required, "required_by": required_by}
    places = {one.place for one in pieces}
    if len(places) == 1:
        more["position"] = places.pop()
    if not known:
        return finding(
            check,
            NOT_CHECKED,
            pieces[:1],
            f"{setup.name} is to be loaded {with_it} {words}; nothing is recorded of {who}.",
            missing=f"the property {check} of {who}",
            likely_effect=effect_of(setup, check),
            remedy=f"record {check} as true or false with the fitting or its part",
            **more,
        )
    has = "has" if found else "has no"
    said = f"{who} {has} {words}; {setup.name} is to be loaded {with_it} them."
    if found == required:
        return finding(check, AGREES, known, said, found=found, **more)
    return finding(
        check,
        DIFFERS,
        known,
        said,
        found=found,
        likely_effect=effect_of(setup, check),
        remedy=f"use a fitting {with_it} {words}",
        **more,
    )


def _threads(setup: Setup) -> Iterator[Record]:
    required = setup.required.get("rod_thread")
    rods = [one for one in setup.pieces if one.stated("rod_thread") is not None]
    if required is not None:
        for one in rods:
            yield word_finding(setup, "rod_thread", one, required, setup.required_by)
        if not rods:
            yield finding(
                "rod_thread",
                NOT_CHECKED,
                [],
                f"{setup.name} requires a {required} rod; no thread is recorded of the fittings.",
                required=required,
                required_by=setup.required_by,
                missing="the property rod_thread of the rods",
                remedy="record rod_thread with the rods",
            )
        return
    usual = practice(setup.type, "rod_thread")
    if usual is None or usual.avoid is None:
        return
    for one in rods:
        if same_word(usual.avoid, one.stated("rod_thread")):
            yield finding(
                "rod_thread",
                DIFFERS,
                [one],
                f"{one.code} has a {usual.avoid} thread, which does not align the load.",
                position=one.place,
                required=f"not {usual.avoid}",
                required_by=usual.source,
                found=one.stated("rod_thread"),
                likely_effect=effect_of(setup, "rod_thread"),
                remedy="use a rod with a shoulder, or record what the instrument requires",
            )


def _orientation(setup: Setup) -> Iterator[Record]:
    if not setup.required.get("orientation_kept"):
        return
    kept = setup.request.get("orientation_kept")
    more: Record = {"required": True, "required_by": setup.required_by}
    about = [setup.instrument] if setup.instrument else []
    if kept is None:
        yield finding(
            "orientation",
            NOT_CHECKED,
            about,
            f"The orientation marks of {setup.name} are to be kept; nothing is said of them.",
            missing="orientation_kept in the request",
            remedy="look at the marks, and send orientation_kept",
            **more,
        )
        return
    said = "are kept" if kept else "are not kept"
    yield finding(
        "orientation",
        AGREES if kept else DIFFERS,
        about,
        f"The orientation marks of {setup.name} {said}.",
        found=kept,
        likely_effect=None if kept else effect_of(setup, "orientation"),
        remedy=None if kept else "turn it as it was calibrated and is used",
        **more,
    )


_PARTS = (
    *(pin_findings, place_findings, shackle_findings),
    *(_rollers, _seat, _threads, _orientation),
)
