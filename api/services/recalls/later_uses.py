"""What used an item, or an assembly that held it then, around a failure.

A failure speaks from the last good evidence before it until the next good evidence behind it; of
two at one instant the failure comes first, so that good values as left end one that was found. A
use on a bare date counts wherever a part of its day does. Only issued certificates use anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.recalls.soundness import Evidence
from api.services.records.holdings import holdings_above
from api.store.assemblies import holders as holding_items
from api.store.chunks import chunks
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import Certificate, Item, Usage
from graph.moments import Moment
from graph.parts import holders


class Used(NamedTuple):
    """One use, from `used_us` to `used_end_us`, and the certificate that tells of it."""

    used_us: int
    used_end_us: int
    issuer: str
    number: str


class Span(NamedTuple):
    """Last good evidence before a failure and next good one behind it; None where there is none."""

    after_us: int | None
    before_us: int | None


def span_of(history: Sequence[Evidence], at_us: int) -> Span:
    """Return how long a failure at an instant speaks, by the evidence about its item."""
    good = [one.at_us for one in history if one.good]
    before = [one for one in good if one < at_us]
    return Span(max(before, default=None), min((one for one in good if one >= at_us), default=None))


def uses_within(session: Session, item: int, span: Span) -> list[Used]:
    """Return the uses of an item, or of what held it then, inside a span, by time."""
    code = session.scalars(select(Item.code).where(Item.id == item)).one()
    reader = SessionReader(session)
    ways = holders(code, holdings_above(Recorded(reader), [code]))
    found = set()
    for some in chunks(sorted(holding_items(reader, {item}))):
        statement = (
            select(Item.code, Usage.used_us, Usage.used_end_us)
            .add_columns(Certificate.issuer, Certificate.number)
            .join(Usage, Usage.item_id == Item.id)
            .join(Certificate, Certificate.id == Usage.certificate_id)
            .where(Item.id.in_(some), Certificate.status == "issued")
        )
        if span.after_us is not None:
            statement = statement.where(Usage.used_end_us > span.after_us)
        if span.before_us is not None:
            statement = statement.where(Usage.used_us < span.before_us)
        for used, *row in session.execute(statement):
            one = Used(*row)
            at = Moment(one.used_us, one.used_end_us)
            if used == code or any(way.assembly == used and way.held_at(at) for way in ways):
                found.add(one)
    return sorted(found)
