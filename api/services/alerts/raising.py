"""Alerts follow the records: raised, grown, ended and raised again in the transaction of a write.

Every write of the records says what it touched (`api.store.record_changes`); before it is committed
`follow` derives anew the failures of the items touched and compares them with the alerts there are.
So no way of recording can forget to raise one, and one failure is one alert however often it is
recorded. Where the database was written to without this, the next write reads on from there.

An answered alert is open again when its failure moves in time, an overdue item is used again, its
answer lapses by a use that was recorded late (`lapsing`), or another look at the recall that
answered it no longer covers it. An ended one that comes back is
open, whatever was answered before.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Collection, Iterable
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.services.alerts.failures import OVERDUE, Failure, Name, concerned, failures
from api.services.alerts.growing import grow, keep_overdue, overdue_failure, overdue_name
from api.services.alerts.lapsing import lapse
from api.services.alerts.overdue import OverdueUse, Scope, overdue_uses
from api.services.alerts.second_looks import look_again
from api.services.alerts.states import ENDED, OPEN, Told, keep
from api.services.recalls.soundness import histories
from api.services.records.items import CUSTOMERS_OWN
from api.store.alerts import Alert, AlertReading
from api.store.assemblies import held
from api.store.chunks import chunks
from api.store.graph_lock import lock_graph
from api.store.reading import SessionReader
from api.store.record_changes import UNKNOWN_CAUSE, position
from api.store.record_touch import Range, written_since
from api.store.record_watch import RecordChange
from api.store.tables import Certificate, Check, Item, Recall, Usage


def follow(session: Session) -> int:
    """Bring the alerts up to what has been recorded, this transaction included.

    Returns how many were raised, or opened again.
    """
    lock_graph(session)
    session.flush()
    reading = session.get(AlertReading, 1)
    last = position(session)
    if reading is None:
        reading = AlertReading(id=1, position=-1, recall_id=0)
        session.add(reading)
    now_us, cause = _written(session, reading.position)
    told = Told(session, now_us, cause)
    if reading.position != last:
        _records(told, reading.position)
    newest = session.scalar(select(func.max(Recall.id))) or 0
    if reading.recall_id != newest:
        look_again(told, reading.recall_id)
    reading.position, reading.recall_id = last, newest
    told.end()
    return len({alert.id for alert, state in told.changed if state == OPEN})


def is_up_to_date(session: Session) -> bool:
    """Whether the alerts know everything that was recorded."""
    reading = session.get(AlertReading, 1)
    if reading is not None:
        return position(session) == reading.position
    recorded = session.scalar(select(Certificate.id).limit(1)) or session.scalar(
        select(Check.id).limit(1)
    )
    return recorded is None


def derived(session: Session) -> dict[Name, Failure]:
    """Return every alert that the records give today, read from the beginning."""
    everything = Scope(None)
    found = failures(session, histories(session, concerned(session, _all_items(session))))
    grouped: dict[Name, set[OverdueUse]] = defaultdict(set)
    for use in overdue_uses(session, everything):
        grouped[overdue_name(use)].add(use)
    known = histories(session, {name.item for name in grouped})
    return found | {
        name: overdue_failure(uses, known.get(name.item, [])) for name, uses in grouped.items()
    }


def _written(session: Session, after: int) -> tuple[int, str]:
    """Return instant and words of the last write behind a position."""
    last = session.execute(
        select(RecordChange.at_us, RecordChange.cause)
        .where(RecordChange.id > after)
        .order_by(RecordChange.id.desc())
        .limit(1)
    ).first()
    return (time.time_ns() // 1000, UNKNOWN_CAUSE) if last is None else (last.at_us, last.cause)


def _records(told: Told, after: int) -> None:
    session = told.session
    written = written_since(session, after)
    if after < 0 or written.everything:
        _compare(told, Scope(None), _all_items(session))
        lapse(told, _all_items(session))
        return
    reader = SessionReader(session)
    own = set(written.named) | _items_of(
        session, Certificate.item_id, Certificate.id, written.ranges
    )
    # A value of its own takes the place of those of its parts, and gives it back.
    scope = Scope(held(reader, own, withdrawn=True), written.ranges)
    used = _items_of(session, Usage.item_id, Usage.certificate_id, written.ranges)
    _compare(told, scope, own | _customers_own(session, used))
    lapse(told, held(reader, own | used, withdrawn=True))


def _all_items(session: Session) -> set[int]:
    return set(session.scalars(select(Item.id)))


def _items_of(session: Session, item: Any, key: Any, ranges: Iterable[Range]) -> set[int]:
    found = set[int]()
    for first, last in ranges:
        found.update(session.scalars(select(item).where(key.between(first, last)).distinct()))
    return found


def _customers_own(session: Session, items: Collection[int]) -> set[int]:
    """Items that were just used and are relied on from now on, though they are a customer's."""
    found = set[int]()
    for some in chunks(sorted(items)):
        kind = select(Item.id).where(Item.id.in_(some), Item.kind == CUSTOMERS_OWN)
        found.update(session.scalars(kind))
    return found


def _compare(told: Told, scope: Scope, items: set[int]) -> None:
    """Compare the alerts of a scope, and those about evidence of items, with the records."""
    session = told.session
    alerts = _of_items(session, items)
    grown = grow(told, scope)
    # What came after them may have changed, too.
    grown |= {key for key, one in alerts.items() if key.kind == OVERDUE and one.state != ENDED}
    read = concerned(session, items)
    known = histories(session, read | {name.item for name in grown})
    found = failures(session, {key: one for key, one in known.items() if key in read})
    for name, alert in alerts.items():
        if name.kind != OVERDUE and name not in found and alert.state != ENDED:
            told.become(alert, ENDED, "what raised it is no more")
    for name, failure in sorted(found.items()):
        keep(told, alerts.get(name), name, failure)
    for name in sorted(grown):
        keep_overdue(told, name, known.get(name.item, []))


def _of_items(session: Session, items: Collection[int]) -> dict[Name, Alert]:
    return {
        Name(one.item_id, one.kind, one.cause): one
        for some in chunks(sorted(items))
        for one in session.scalars(select(Alert).where(Alert.item_id.in_(some)))
    }
