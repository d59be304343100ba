"""What was used, by the set-up that was checked? Adapters and references, not written down twice.

Choice: what a calibration does not name itself is taken from its set-up checks: fittings as
adapters, references with their shares as force references; the machine as the force reference where
no reference is named, since it then is what measures. A check of some points' set-up serves these
points. Readouts are not taken: a set-up does not say which of them read the reference.

A use that was sent must be in the set-up: an adapter, and a reference or readout where the check
names such. Not checked: that the set-up was loaded as it was checked.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from api.services.base.record import Record
from api.services.base.recording import Recording
from api.store.fitting import SetupCheck

REFERENCE = "force_reference"
_FITTED = ("adapter", "adapter_part")


class Placed(NamedTuple):
    """A use to be recorded, the pointer to where it was sent, and the set-up check it is from."""

    use: Record
    place: str
    set_up_check: int | None = None


class Served(NamedTuple):
    """A set-up check, the pointer to where it is named, and the points it was for; None: all."""

    check: SetupCheck
    place: str
    points: Sequence[int | str] | None


def items_of(served: Sequence[Served]) -> set[str]:
    """Return the ids of the items that may be taken from set-up checks."""
    return {use["item"] for one in served for use in _offered(one.check.request)}


def uses(recording: Recording, sent: Sequence[Placed], served: Sequence[Served]) -> list[Placed]:
    """Return the uses that were sent and, after them, those taken from set-up checks.

    What cannot be is noted: a use of what no set-up holds, a share that differs.
    """
    if not served:
        return list(sent)
    for own in sent:
        _refuse_elsewhere(recording, own, served)
    named = {one.use["item"] for one in sent}
    found: dict[str, Placed] = {}
    for one in served:
        for use in _offered(one.check.request):
            if use["item"] in named:
                _compare(recording, use, [each for each in sent if each.use["item"] == use["item"]])
                continue
            before = found.get(use["item"])
            points = None if one.points is None else list(one.points)
            if before is not None:
                known = before.use.get("points")
                points = None if points is None or known is None else [*known, *points]
            some = {} if points is None else {"points": points}
            found[use["item"]] = Placed(use | some, one.place, one.check.id)
    return [*sent, *found.values()]


def _offered(request: Mapping[str, Any]) -> Iterator[Record]:
    """Yield the uses that a set-up names, shares as numbers."""
    references = request.get("references", ())
    for one in references:
        share = {"weight": Decimal(one["weight"])} if "weight" in one else {}
        yield {"item": one["item"], "role": REFERENCE, **share}
    if not references and "machine" in request:
        yield {"item": request["machine"], "role": REFERENCE}
    for one in request.get("fittings", ()):
        yield {"item": one["item"], "role": "adapter"}


def _compare(recording: Recording, use: Record, sent: Sequence[Placed]) -> None:
    """Note a share that was sent and is another than in the set-up."""
    share = use.get("weight")
    for one in sent:
        own = one.use.get("weight")
        if share is None or own is None or one.use["role"] != REFERENCE:
            continue
        if any(each != share for each in (own.values() if isinstance(own, dict) else [own])):
            detail = f"the set-up check gives its share as {share:f}"
            remedy = "leave the weight out, or name the check of that set-up"
            recording.refuse(f"{one.place}/weight", detail, remedy, own)


def _refuse_elsewhere(recording: Recording, one: Placed, served: Sequence[Served]) -> None:
    """Note a use of what is in none of the set-ups, where these say what was there."""
    code = one.use["item"]
    facts = recording.items.get(code)
    if facts is None:
        return
    requests = [each.check.request for each in served]
    if facts.kind in _FITTED:
        there = {part for each in served for part in each.check.answer["parts"]}
        what = "adapter"
    elif one.use["role"] == REFERENCE:
        there = {each["item"] for sent in requests for each in sent.get("references", ())}
        there |= {sent["machine"] for sent in requests if "machine" in sent}
        what = "reference"
    elif facts.kind == "readout":
        there = {each for sent in requests for each in sent.get("readouts", ())}
        what = "readout"
    else:
        return
    if code in there or (not there and what != "adapter"):
        return
    checks = ", ".join(str(each.check.id) for each in served)
    known = ", ".join(sorted(there)) or "none"
    detail = f"no {what} {code} in the set-up of check {checks}: {known}"
    remedy = "name the check of the set-up that it was in, or mend the use"
    recording.refuse(f"{one.place}/item", detail, remedy, code)
