"""Whose set-up was checked? Runs that name a set-up check are of the instrument that it looked at.

Not checked: that the set-up was still standing when the runs were made.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, UnknownReference
from api.services.base.record import Record
from api.store.fitting import SetupCheck
from api.store.tables import Item

REMEDY = "make it at POST /v1/setup-checks and store it, or mend the id"


def of_its_set_up(session: Session, request: Mapping[str, Any]) -> Record:
    """Return a request with the item of the set-up check that it names, if any.

    Raises UnknownReference for a set-up check that is not recorded, InvalidRecord for that of
    another item.
    """
    found: Record = dict(request)
    key = request.get("set_up_check")
    if key is None:
        return found
    row = session.get(SetupCheck, key)
    if row is None:
        detail = f"set-up check {key} is not recorded"
        raise UnknownReference(detail, [Issue("/set_up_check", detail, REMEDY, str(key))])
    looked_at = row.request.get("instrument")
    code: str | None = request.get("item", looked_at)
    if code is None:
        return found
    found["item"] = code
    kind = session.scalar(select(Item.type).where(Item.code == code))
    wrong = contradiction(row, code, kind)
    if wrong is not None:
        remedy = "leave the item out, or name the check of its own set-up"
        raise InvalidRecord(wrong, [Issue("/item", wrong, remedy, code)])
    return found


def contradiction(row: SetupCheck, code: str, kind: str | None) -> str | None:
    """Say in which way a set-up check was of another instrument than this one; None if it fits."""
    looked_at, of_type = row.request.get("instrument"), row.request.get("type")
    if looked_at is not None and looked_at != code:
        return f"set-up check {row.id} looked at {looked_at}, not at {code}"
    if of_type is not None and of_type != kind:
        what = "of no type" if kind is None else f"a {kind}"
        return f"set-up check {row.id} was for a {of_type}; {code} is {what}"
    return None
