"""May this item be used? Not while a recall has isolated it and nobody let work resume.

An item is isolated from the `isolated_at` of a fault until the resumption of work is authorised for
the recall, or for another look at the same fault (recalls joined by `previous`); closing the case
does not end it, and for the time between it stays so whatever is resumed later. An assembly is
isolated while it holds the part. A fault on one channel isolates that channel, and uses that name
none. A fault that names a certificate isolates the item of that certificate, which carries the
wrong value on: behind the end of the window no list would stop its next use. A use on a bare date
that could be earlier than the isolation is let through: it lies in the window of the recall, which
judges it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.casework.cases import RESUMPTION
from api.services.records.holdings import holdings_above
from api.store.casework import CaseEvent
from api.store.keyed import rows_of
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import Certificate, Recall, Usage
from graph.model import Holder
from graph.moments import Moment, instant_us, text_of
from graph.parts import holders

MOST_OVERRIDES = 25


@dataclass(frozen=True, slots=True)
class Isolation:
    """Why an item may not be used: the recall, the faulty item, from when, and until work resumes.

    `holder` is the way in which an assembly holds the faulty part; None for the item itself.
    """

    recall: str
    item: str
    after_us: int
    until_us: int | None = None
    channel: str | None = None
    holder: Holder | None = None

    def forbids(self, at: Moment, channel: str | None) -> bool:
        """Whether a use at this time on this channel is refused."""
        if self.channel is not None and channel is not None and channel != self.channel:
            return False
        if self.until_us is not None and at.end_us >= self.until_us:
            return False
        return at.start_us > self.after_us and (self.holder is None or self.holder.held_at(at))


class Reported(NamedTuple):
    """What a stored recall was asked, as far as it isolates."""

    id: int
    number: str
    previous_id: int | None
    faults: list[Record]


def reported(session: Session) -> list[Reported]:
    """Return what every stored recall was asked, in their order."""
    columns = Recall.id, Recall.number, Recall.previous_id, Recall.faults
    return [Reported(*row) for row in session.execute(select(*columns).order_by(Recall.id))]


def isolated_items(
    session: Session, recalls: Sequence[Reported] | None = None
) -> Mapping[str, Sequence[Isolation]]:
    """Return what isolates each item, by item id; assemblies of isolated parts too.

    `recalls` are those from `reported`, if they were read already.
    """
    zone = zone_of(session)
    found: dict[str, list[Isolation]] = {}
    isolating = _isolating(session, reported(session) if recalls is None else recalls)
    faulty_items = _faulty_items(session, [one for _, faults, _ in isolating for one in faults])
    for number, faults, until_us in isolating:
        for fault in faults:
            for item in faulty_items(fault):
                after_us = instant_us(fault["isolated_at"], zone, end=True)
                one = Isolation(number, item, after_us, until_us, fault.get("channel"))
                found.setdefault(item, []).append(one)
    faulty = list(found.items())
    holdings = holdings_above(Recorded(SessionReader(session)), found)
    for code, reasons in faulty:
        for holder in holders(code, holdings):
            within = [replace(one, channel=None, holder=holder) for one in reasons]
            found[holder.assembly] = [*found.get(holder.assembly, ()), *within]
    return found


def of_item(session: Session, code: str, now_us: int) -> list[Record]:
    """Return what keeps an item out of use now.

    Each has the faulty `item`, itself or a part of it, the `channel` if it is only one, since when
    (`after`), and the `recalls` that say so.
    """
    now = Moment(now_us, now_us)
    found: dict[tuple[str, str | None], list[Isolation]] = {}
    for one in isolated_items(session).get(code, ()):
        if one.forbids(now, None):
            found.setdefault((one.item, one.channel), []).append(one)
    numbers = {one.recall for reasons in found.values() for one in reasons}
    rows = session.execute(select(Recall.number, Recall.id).where(Recall.number.in_(numbers)))
    keys = {row.number: row.id for row in rows}
    return [
        {
            "item": item,
            "channel": channel,
            "after": text_of(min(one.after_us for one in reasons)),
            "recalls": [
                {"id": keys[number], "number": number}
                for number in sorted({one.recall for one in reasons})
            ],
        }
        for (item, channel), reasons in found.items()
    ]


def overrides(session: Session, item_id: int) -> list[Record]:
    """Return the uses of an item that somebody answered for while it was isolated, latest first."""
    rows = session.execute(
        select(Certificate.number, Certificate.revision, Usage.override, Usage.used_us)
        .join(Usage, Usage.certificate_id == Certificate.id)
        .where(Usage.item_id == item_id, Usage.override.is_not(None))
        .order_by(Usage.used_us.desc(), Certificate.number)
        .limit(MOST_OVERRIDES)
    )
    return [
        {"certificate": row.number, "revision": row.revision, "at": text_of(row.used_us)}
        | row.override
        for row in rows
    ]


def isolated_by(session: Session, recall: Recall) -> list[str]:
    """Return the faulty items that a recall, or another look at its fault, keeps out of use."""
    isolating = _isolating(session, reported(session))
    unresumed = {number for number, _, until_us in isolating if until_us is None}
    if recall.number not in unresumed:
        return []
    faulty_items = _faulty_items(session, recall.faults)
    return sorted({item for fault in recall.faults for item in faulty_items(fault)})


def _faulty_items(
    session: Session, faults: Iterable[Record]
) -> Callable[[Record], Collection[str]]:
    """Read, and return who tells, which items a fault isolates: none without `isolated_at`."""
    numbers = {fault["certificate"] for fault in faults if "certificate" in fault}
    of_number: dict[str, list[_Numbered]] = defaultdict(list)
    columns = "certificate.number, certificate.issuer, item.code"
    also = "JOIN item ON item.id = certificate.item_id"
    reader = SessionReader(session)
    for row in rows_of(reader, columns, "certificate", "number", sorted(numbers), also):
        of_number[row[0]].append(_Numbered(*row))

    def items(fault: Record) -> Collection[str]:
        if fault.get("isolated_at") is None:
            return ()
        if "item" in fault:
            return (fault["item"],)
        named = of_number.get(fault.get("certificate", ""), [])
        # As for the recall: without an issuer our own certificate of that number is meant.
        own = "" if any(one.issuer == "" for one in named) else None
        issuer = fault.get("issuer", own)
        return sorted({one.item for one in named if issuer is None or one.issuer == issuer})

    return items


class _Numbered(NamedTuple):
    number: str
    issuer: str
    item: str


def _isolating(
    session: Session, recalls: Sequence[Reported]
) -> list[tuple[str, list[Record], int | None]]:
    """Recalls with their faults, and when work resumed after them or another look at them."""
    resumptions = session.execute(
        select(CaseEvent.recall_id, func.min(CaseEvent.at_us).label("at_us"))
        .where(CaseEvent.kind == RESUMPTION)
        .group_by(CaseEvent.recall_id)
    ).all()
    first: dict[int, int] = {}
    for one in recalls:  # a recall names an earlier one
        first[one.id] = one.id if one.previous_id is None else first[one.previous_id]
    lifted: dict[int, int] = {}
    for row in sorted(resumptions, key=lambda row: -row.at_us):
        lifted[first[row.recall_id]] = row.at_us
    return [(one.number, one.faults, lifted.get(first[one.id])) for one in recalls]
