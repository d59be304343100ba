"""Which failures do the records show? Checks, and calibrations as found of what is relied on.

A customer's instrument that fails as found is the customer's own matter, which its certificate
tells, as long as no calibration ever used it and no assembly held it: then nothing rests on it.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.recalls.soundness import Evidence, last_before, next_after
from api.services.records.items import CUSTOMERS_OWN
from api.store.keyed import rows_of
from api.store.reading import SessionReader
from api.store.records import bearing_items

FOUND, CHECK, OVERDUE = "as_found", "check", "overdue_use"


class Name(NamedTuple):
    """What tells alerts apart: the key of the item, the kind of alert, and what it is about."""

    item: int
    kind: str
    cause: str


class Failure(NamedTuple):
    """A failure as an alert tells of it; fields as in `api.store.alerts.Alert`."""

    certificate_id: int | None
    check_id: int | None
    at: str
    at_us: int
    until: str
    until_us: int
    good_before: Record | None
    followed: Record | None


def calibration(issuer: str, number: str) -> str:
    """Return what an alert about a calibration, or the value that it gave, is about."""
    return json.dumps([issuer, number], ensure_ascii=False)


def failures(session: Session, histories: Mapping[int, Sequence[Evidence]]) -> dict[Name, Failure]:
    """Return the failures in the histories of items (`soundness.histories`), by what they are."""
    relied_on = _relied_on(session, histories.keys())
    found = {}
    for item, history in histories.items():
        for one in history:
            if one.good or (one.check is None and item not in relied_on):
                continue
            found[_name(one)] = Failure(
                one.certificate,
                one.check,
                one.at,
                one.at_us,
                one.at,
                one.end_us,
                last_before(history, one.at_us),
                next_after(history, one.at_us, one),
            )
    return found


def concerned(session: Session, items: Collection[int]) -> set[int]:
    """Return those of these items that can have a failure, whose results are worth reading."""
    reader, table = SessionReader(session), "intermediate_check"
    also = f"WHERE {table}.result = 'fail' AND NOT {table}.withdrawn"
    failed = {key for (key,) in rows_of(reader, f"{table}.item_id", table, "item_id", items, also)}
    return failed | _relied_on(session, items)


def _name(one: Evidence) -> Name:
    if one.check is not None:
        return Name(one.item, CHECK, str(one.check))
    return Name(one.item, FOUND, calibration(one.issuer, one.name))


def _relied_on(session: Session, items: Collection[int]) -> set[int]:
    """Return the items whose failure as found concerns the laboratory."""
    reader = SessionReader(session)
    also = "WHERE item.kind <> ?"
    ours = {
        key for (key,) in rows_of(reader, "item.id", "item", "id", items, also, [CUSTOMERS_OWN])
    }
    return ours | bearing_items(reader, set(items) - ours)
