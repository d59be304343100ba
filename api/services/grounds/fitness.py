"""Was everything fit for use? Isolated, wired to another readout, set up unseen, past its life.

Choice: the readouts that a reference was calibrated with are those of the role readout_dut in the
certificate of its value; where either side names none, or no channel, nothing is compared. A part
is past its life if its count with this certificate is above its design life.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Sequence

from sqlalchemy import select

from api.services.casework.isolation import isolated_items
from api.services.grounds.candidates import (
    READOUT,
    READOUT_DUT,
    REFERENCE,
    Candidates,
    Used,
)
from api.services.grounds.finding import MIND, STOP, Finding
from api.services.grounds.values import Found
from api.services.life.cycles import tallies
from api.services.records.requirement_choice import since_us, subject_of
from api.services.records.requirements import any_recorded
from api.store.chunks import chunks
from api.store.fitting import SetupCheck
from api.store.grounds import CertificateGrounds
from api.store.tables import Certificate, Item
from graph.model import Calibration, Use

DIFFERS = "differs"
_LINK = "send set_up_check with the id of a check of this set-up"
_JUDGED = "the judgement is that of a competent, authorised person"


def isolated_findings(asked: Candidates) -> Found:
    """Yield uses of what a recall isolated, with who answers for the use."""
    isolated = isolated_items(asked.session, asked.recalls)
    for one in asked.uses if isolated else ():
        use = one.use
        for reason in isolated.get(use.item, ()):
            if reason.forbids(use.at, use.channel):
                inside = "" if reason.item == use.item else f", which is in {use.item},"
                yield one.certificate.key, _isolated(one, f"{reason.item}{inside}", reason.recall)
                break


def _isolated(one: Used, what: str, recall: str) -> Finding:
    said = f"{what} is isolated by recall {recall}"
    if one.override is not None:
        said += f"; {one.override['by']} answers for this use: {one.override['reason']}"
    return Finding(
        "isolated",
        STOP,
        said,
        "use another item, have the resumption of work authorised, or send override with the name "
        "of the person who answers for this use, and the reason",
        one.use.item,
    )


def pairing_findings(asked: Candidates) -> Found:
    """Yield references that were read on another channel than when they were calibrated."""
    references = [
        (one, carrier)
        for one in asked.uses
        if one.use.role == REFERENCE
        for carrier in asked.carriers(one.use)
    ]
    asked.traced.read({carrier.certificate.key for _, carrier in references})
    for one, carrier in references:
        then = asked.traced.calibrations[carrier.certificate.key]
        before, now = _readouts(then, READOUT_DUT), _readouts(one.certificate, READOUT)
        if before and now and not any(_same(a, b) for a in before for b in now):
            yield (
                one.certificate.key,
                Finding(
                    "pairing",
                    MIND,
                    f"{carrier.item} was calibrated with {_named(before)} ({then.number}) and "
                    f"was read on {_named(now)}",
                    "use the readout and channel that it was calibrated with, or say what the "
                    "change contributes",
                    carrier.item,
                ),
            )


def _readouts(one: Calibration, role: str) -> list[Use]:
    return [use for use in one.uses if use.role == role]


def _same(one: Use, other: Use) -> bool:
    return one.item == other.item and one.may_be_on(other.channel)


def _named(uses: list[Use]) -> str:
    names = (use.item if use.channel is None else f"{use.item}:{use.channel}" for use in uses)
    return ", ".join(sorted(set(names)))


def setup_findings(asked: Candidates) -> Found:
    """Yield calibrations for whose item a requirement is recorded and whose set-up was not seen.

    A requirement that was recorded after a certificate was issued says nothing of it.
    """
    if not any_recorded(asked.session):
        return
    required: dict[int, int | None] = {}
    statement = (
        select(
            Certificate.id,
            Certificate.external,
            Item,
            Certificate.setup_check_id,
            SetupCheck.outcome,
            CertificateGrounds.at_us,
        )
        .join(Item, Item.id == Certificate.item_id)
        .outerjoin(CertificateGrounds, CertificateGrounds.certificate_id == Certificate.id)
        .outerjoin(SetupCheck, SetupCheck.id == Certificate.setup_check_id)
    )
    for some in chunks(sorted(asked.as_of)):
        for row in asked.session.execute(statement.where(Certificate.id.in_(some))):
            if row.external or row.outcome not in (None, DIFFERS):
                continue
            item = row.Item
            if item.id not in required:
                required[item.id] = since_us(asked.session, subject_of(item))
            since = required[item.id]
            if since is not None and (row.at_us is None or since <= row.at_us):
                said, remedy = "no set-up check is linked", _LINK
                if row.setup_check_id is not None:
                    said, remedy = _what_differs(asked, row.setup_check_id)
                detail = f"a requirement is recorded for {item.code}, and {said}"
                yield row.id, Finding("setup", MIND, detail, f"{remedy}; {_JUDGED}", item.code)


def _what_differs(asked: Candidates, check_id: int) -> tuple[str, str]:
    """Return what differs in a linked set-up check, and what mends it."""
    answer = asked.session.get_one(SetupCheck, check_id).answer
    found = [one for one in answer["findings"] if one["outcome"] == DIFFERS]
    said = " ".join(one["sentence"] for one in found)
    remedies = dict.fromkeys(one["remedy"] for one in found if "remedy" in one)
    again = "check the changed set-up again (POST /v1/setup-checks) and send set_up_check with it"
    return f"set-up check {check_id} has findings: {said}", "; ".join([*remedies, again])


def cycle_findings(asked: Candidates) -> Found:
    """Yield parts that are past their design life with the load applications of a certificate."""
    limited = {code: one for code, one in asked.pieces.items() if one.design_life is not None}
    loads = _with_loads(asked) if limited else set()
    used: dict[str, set[tuple[int, int]]] = defaultdict(set)
    for one in asked.uses:
        if one.certificate.key in loads:
            for code in {one.use.item, *(held.part for held in one.use.held)} & limited.keys():
                used[code].add((one.use.at.end_us, one.certificate.key))
    for item in asked.session.scalars(select(Item).where(Item.code.in_(sorted(used)))):
        in_order = sorted(used[item.code])
        for key in {key for _, key in in_order[_first_beyond(asked, item, in_order) :]}:
            yield key, _worn(item)


def _first_beyond(asked: Candidates, item: Item, in_order: Sequence[tuple[int, int]]) -> int:
    """Place of the first use with which a part is past its life; a count only grows."""

    def beyond(at_us: int) -> bool:
        (tally,) = tallies(asked.session, [item], at_us).values()
        return tally.used > (item.design_life_cycles or 0)

    # Seldom is one past it: the last use is asked first.
    if not beyond(in_order[-1][0]):
        return len(in_order)
    return bisect_left(in_order, True, key=lambda one: beyond(one[0]))


def _worn(item: Item) -> Finding:
    return Finding(
        "cycles",
        MIND,
        f"{item.code} has borne more load cycles with this certificate than its design life of "
        f"{item.design_life_cycles}",
        f"take {item.code} out of use and have it inspected by a competent, authorised person",
        item.code,
    )


def _with_loads(asked: Candidates) -> set[int]:
    keys = sorted(asked.as_of)
    return {
        key
        for some in chunks(keys)
        for key in asked.session.scalars(
            select(Certificate.id).where(
                Certificate.id.in_(some), Certificate.load_applications > 0
            )
        )
    }
