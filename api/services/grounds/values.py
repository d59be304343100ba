"""Did what was used carry a value, and one that holds? Voided, absent, overdue, of another mode.

Choice: an item whose record says under the property `calibration` why it needs none is believed, as
in the chain of a certificate.
"""

from __future__ import annotations

from collections.abc import Iterator

from api.services.grounds.candidates import (
    READOUT,
    REFERENCE,
    VOIDED,
    Candidates,
    Standing,
    Used,
    measuring_alone,
)
from api.services.grounds.finding import MIND, STOP, Finding
from api.services.records.due import overdue
from graph.compound import MEASURING
from graph.model import BY_SHARE, Held
from graph.moments import Moment, text_of

Found = Iterator[tuple[int, Finding]]


def value_findings(asked: Candidates) -> Found:
    """Yield what is wrong with the values that were used, by certificate."""
    for one in asked.uses:
        for finding in (
            *_voided(asked, one),
            *_none(asked, one),
            *_overdue(asked, one),
            *_other_mode(asked, one),
            *_changed_parts(asked, one),
        ):
            yield one.certificate.key, finding


def _voided(asked: Candidates, one: Used) -> Iterator[Finding]:
    use, mode = one.use, one.certificate.mode
    until_us = max(asked.issued[one.certificate.key], use.at.end_us)
    items = [use.item]
    if use.source is None:
        items += [held.part for held in use.held if held.bearing == BY_SHARE]
    for item in items:
        if one.named:
            last = asked.by_key.get(use.source or 0)
        else:
            last = next(
                (
                    standing
                    for standing in asked.standings[item]
                    if standing.assigns_value
                    and standing.suits(mode)
                    and standing.performed_us <= use.at.end_us
                ),
                None,
            )
        if last is None or last.status != VOIDED:
            continue
        if last.voided_us is None or last.voided_us <= until_us:
            since = "on an unknown day" if last.voided_us is None else text_of(last.voided_us)
            yield Finding(
                "voided_value",
                STOP,
                f"{_name(last)}, the latest calibration of {item} before it was used, was voided "
                f"({since})",
                f"calibrate {item} again and repeat the measurement, or use another item",
                item,
            )


def _none(asked: Candidates, one: Used) -> Iterator[Finding]:
    use = one.use
    if use.role not in (REFERENCE, READOUT) or use.source is not None:
        return
    if asked.pieces[use.item].exempt:
        return
    measuring = measuring_alone(use)
    without = [held for held in measuring if not _has_value(asked, held)]
    if len(without) == len(measuring):  # also where it held nothing that measures
        yield _no_value(use.item, "", use.at)
        return
    for held in without:
        yield _no_value(held.part, f", a measuring part of {use.item},", use.at)


def _has_value(asked: Candidates, held: Held) -> bool:
    return held.source is not None or asked.pieces[held.part].exempt


def _no_value(item: str, what: str, at: Moment) -> Finding:
    return Finding(
        "no_value",
        STOP,
        f"{item}{what} had no calibration in force when it was used ({text_of(at.start_us)})",
        "record its certificate, or use a calibrated item",
        item,
    )


def _overdue(asked: Candidates, one: Used) -> Iterator[Finding]:
    use = one.use
    for carrier in asked.carriers(use):
        stated = carrier.certificate
        if overdue(stated.due_us, use.at.start_us):
            yield Finding(
                "overdue",
                STOP,
                f"{_name(stated)} of {carrier.item} was due at {stated.due_at}, before it was used "
                f"({text_of(use.at.start_us)})",
                f"calibrate {carrier.item} first, or record its later certificate",
                carrier.item,
            )


def _other_mode(asked: Candidates, one: Used) -> Iterator[Finding]:
    mode, source = one.certificate.mode, asked.by_key.get(one.use.source or 0)
    if one.named and source is not None and not source.suits(mode):
        yield Finding(
            "mode_mismatch",
            STOP,
            f"{_name(source)} of {one.use.item} is one of {source.mode}; it was used in {mode}",
            f"name a certificate of {mode}, or mend the mode",
            one.use.item,
        )


def _changed_parts(asked: Candidates, one: Used) -> Iterator[Finding]:
    own = asked.by_key.get(one.use.source or 0)
    if own is None:
        return
    for held in one.use.held:
        if asked.pieces[held.part].kind not in MEASURING:
            continue
        for later in asked.standings[held.part]:
            after = own.performed_us < later.performed_us <= one.use.at.end_us
            if after and later.status != VOIDED:
                yield Finding(
                    "part_changed",
                    MIND,
                    f"{held.part}, a part of {one.use.item}, was calibrated ({_name(later)}) after "
                    f"the value of {one.use.item} itself ({_name(own)})",
                    f"calibrate {one.use.item} as a whole again, or say why its value still holds",
                    held.part,
                )
                break


def _name(one: Standing) -> str:
    return f"certificate {one.number} rev. {one.revision}"
