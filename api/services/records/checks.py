"""Recording and reading intermediate checks and inspections."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from api.errors import NotFound
from api.services.base.record import Record, digest
from api.services.base.recording import Collection, Outcome, Recording, remarks, repeated
from api.services.records import record_corrections
from api.services.records.record_corrections import CHECKS
from api.store.chunks import chunks
from api.store.paging import KeyValues, page
from api.store.reading import SessionReader
from api.store.record_changes import touched
from api.store.records import item_codes
from api.store.tables import Check, Item

COLUMNS = (
    "kind",
    "result",
    "acceptance_limit_rel",
    "U_rel",
    "independent",
    "covers",
    "mode",
    "wear_pct",
    "limit_pct",
    "note",
)


def record(recording: Recording, records: Sequence[Record]) -> Outcome:
    """Record checks that are new; the others must be the same again. Then comes `finish`."""
    codes = [one["id"] for one in records]
    repeated(recording, "checks", codes, [f'check "{code}"' for code in codes])
    linked = {one[link] for one in records for link in ("item", "against") if one.get(link)}
    recording.know_items(linked)
    stored = _stored(recording.session, codes)
    rows = []
    for index, check in enumerate(records):
        row = row_of(recording, index, check)
        known = stored.get(check["id"])
        if known is None:
            rows.append(row)
        elif row["content_hash"] not in (
            known.content_hash,
            digest(as_sent(recording.session, known)),
        ):
            recording.conflict(
                recording.place("checks", index),
                f'check "{check["id"]}" is recorded with other content',
                "a check is evidence and stays; record another one, or correct it with POST "
                "/v1/checks/{id}/corrections",
                check["id"],
            )
    if rows and not recording.issues and not recording.conflicts:
        recording.session.execute(insert(Check), rows)
        linked_keys = (row[link] for row in rows for link in ("item_id", "against_id"))
        recording.concerned.update(key for key in linked_keys if key is not None)
    return Outcome(len(rows), len(records) - len(rows))


def finish(recording: Recording, outcome: Outcome) -> None:
    """After the last lot, tell which items were checked, and against which."""
    if outcome.created and not recording.issues and not recording.conflicts:
        cause = f"{outcome.created} check(s) were recorded"
        touched(recording.session, cause, recording.now_us, items=recording.concerned)
        recording.concerned.clear()


COLLECTION = Collection("checks", record, finish)


def answers(session: Session, checks: Sequence[Check]) -> list[Record]:
    """Return checks as the API shows them, each with what was corrected of it."""
    keys = {key for one in checks for key in (one.item_id, one.against_id) if key is not None}
    codes = item_codes(SessionReader(session), keys)
    ids = {one.id: quote(one.code, safe="") for one in checks}
    corrections = record_corrections.latest(
        session, CHECKS, ids, "corrections", lambda key: f"/v1/checks/{ids[key]}/corrections"
    )
    shown = []
    for one in checks:
        values = _as_sent(one, codes)
        if one.withdrawn:
            values["withdrawn"] = True
        shown.append(values | corrections.get(one.id, {}))
    return shown


def as_sent(session: Session, check: Check) -> Record:
    """Return a check as it would be sent to be recorded as it stands."""
    keys = {key for key in (check.item_id, check.against_id) if key is not None}
    return _as_sent(check, item_codes(SessionReader(session), keys))


def _as_sent(one: Check, codes: Mapping[int, str]) -> Record:
    values = {"id": one.code, "item": codes[one.item_id], "at": one.performed_at}
    values |= {name: getattr(one, name) for name in COLUMNS}
    if one.against_id is not None:
        values["against"] = codes[one.against_id]
    values |= one.remarks or {}
    return {name: value for name, value in values.items() if value is not None}


def row_of(recording: Recording, index: int, check: Record) -> dict[str, Any]:
    """Return the row of a check; faults are noted."""
    item = recording.item(check["item"], recording.place("checks", index, "item"))
    against = None
    if check.get("against"):
        against = recording.item(check["against"], recording.place("checks", index, "against"))
    at = recording.moment(check["at"])
    return {
        "code": check["id"],
        "item_id": item.key if item else None,
        "performed_at": check["at"],
        "performed_us": at.start_us,
        "performed_end_us": at.end_us,
        "against_id": against.key if against else None,
        **{name: check.get(name) for name in COLUMNS},
        "withdrawn": False,
        "remarks": remarks(check),
        "content_hash": digest(check),
        "recorded_us": recording.now_us,
    }


def _stored(session: Session, codes: list[str]) -> dict[str, Check]:
    return {
        check.code: check
        for some in chunks(codes)
        for check in session.scalars(select(Check).where(Check.code.in_(some)))
    }


def get(session: Session, code: str) -> Check:
    """Return the check of this id."""
    check = session.scalar(select(Check).where(Check.code == code))
    if check is None:
        raise NotFound(f'check "{code}" is not recorded')
    return check


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of checks, in the order they were recorded."""
    statement = select(Check)
    if "item" in filters:
        code = select(Item.id).where(Item.code == filters["item"]).scalar_subquery()
        statement = statement.where(Check.item_id == code)
    rows, key = page(session, statement, [Check.id], after, limit)
    return answers(session, [row[0] for row in rows]), key
