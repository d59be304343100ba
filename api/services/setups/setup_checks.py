"""Before the load is applied: a planned set-up goes in, findings come out, and both are stored.

Choice: every comparison that can be made is made, what cannot be is said with the record that is
missing, and the outcome is the worst finding. The answer carries the cautions always. It is a
snapshot: later records do not change it.

Not checked: that the set-up was built as it was described. No answer says that it may be loaded.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from api.errors import NotFound
from api.rules import ENGINE_VERSION
from api.services.base.cautions import CAUTIONS
from api.services.base.record import Record
from api.services.base.texts import texted
from api.services.records.requirement_choice import BASES
from api.services.setups.calibrated import calibration_findings, latest_calibrations
from api.services.setups.findings import DIFFERS, NOT_CHECKED, worst
from api.services.setups.fit import fit_findings
from api.services.setups.histories import record_findings
from api.services.setups.setups import Setup, gather
from api.services.setups.shelf import shelf
from api.store.fitting import SetupCheck, SetupCheckItem
from api.store.paging import KeyValues, page
from api.store.tables import Item
from api.store.versions import note_row
from graph.moments import text_of

_LISTED = ("at", "instrument", "type", "outcome", "differs", "not_checked", "warnings")


def check(session: Session, request: Record, now_us: int) -> Record:
    """Check a set-up, as loaded by its schema, without storing anything; the answer's id is None.

    Raises UnknownReference for an item or requirement that is not recorded, InvalidRecord for an
    item that stands in the set-up twice.
    """
    return {"id": None, **_answer(session, gather(session, request, now_us))}


def check_and_store(session: Session, request: Record, now_us: int) -> Record:
    """Check a set-up and store request and answer, in a write transaction. Raises as `check`."""
    setup = gather(session, request, now_us)
    answer = _answer(session, setup)
    row = SetupCheck(
        recorded_us=now_us,
        engine_version=ENGINE_VERSION,
        outcome=answer["outcome"],
        request=texted({name: part for name, part in request.items() if name != "store"}),
        answer=answer,
    )
    session.add(row)
    session.flush()
    note_row(session, row)
    items = sorted({one.item.id for one in setup.everything})
    if items:
        links = [{"setup_check_id": row.id, "item_id": key} for key in items]
        session.execute(insert(SetupCheckItem), links)
    return {"id": row.id, **answer}


def get(session: Session, key: int) -> Record:
    """Return a stored set-up check with its request; raise NotFound."""
    row = session.get(SetupCheck, key)
    if row is None:
        raise NotFound(f"set-up check {key} is not recorded")
    recorded = {"recorded_at": text_of(row.recorded_us), "request": row.request}
    return {"id": row.id, **row.answer, **recorded}


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return stored set-up checks in short, the latest first, and the key to continue behind."""
    statement = select(SetupCheck.id, SetupCheck.recorded_us, SetupCheck.answer)
    if "outcome" in filters:
        statement = statement.where(SetupCheck.outcome == filters["outcome"])
    if "item" in filters:
        key = select(Item.id).where(Item.code == filters["item"]).scalar_subquery()
        named = select(SetupCheckItem.setup_check_id).where(SetupCheckItem.item_id == key)
        statement = statement.where(SetupCheck.id.in_(named))
    rows, behind = page(session, statement, [SetupCheck.id], after, limit, descending=True)
    entries = [
        {"id": row.id, "recorded_at": text_of(row.recorded_us)}
        | {name: row.answer[name] for name in _LISTED if name in row.answer}
        for row in rows
    ]
    return entries, behind


def _answer(session: Session, setup: Setup) -> Record:
    keys = {one.item.id for one in setup.everything}
    calibrated = latest_calibrations(session, keys, setup.at.end_us)
    values = latest_calibrations(session, keys, setup.at.end_us, valued=True)
    findings = [
        *fit_findings(setup),
        *record_findings(session, setup, calibrated),
        *calibration_findings(setup, calibrated, values),
    ]
    outcomes = [one["outcome"] for one in findings]
    answer: Record = {
        "at": setup.at_text,
        "outcome": worst(findings),
        "differs": outcomes.count(DIFFERS),
        "not_checked": outcomes.count(NOT_CHECKED),
        "warnings": sum(one.get("warning", False) for one in findings),
        "requirement": _reference(setup),
        "requirement_notes": list(setup.taken.notes),
        "highest_force": setup.highest and setup.highest[0],
        "parts": [one.code for one in setup.pieces],
        "findings": findings,
        "shelf": shelf(session, setup),
        "cautions": list(CAUTIONS),
        "engine_version": ENGINE_VERSION,
    }
    if setup.instrument is not None:
        answer["instrument"] = setup.instrument.code
    if setup.type is not None:
        answer["type"] = setup.type
    return answer


def _reference(setup: Setup) -> Record | None:
    found = setup.requirement
    if found is None:
        return None
    named = {name: found[name] for name in ("id", "version", "source")}
    return named | {"taken_by": setup.taken.basis, "why": _why(setup)}


def _why(setup: Setup) -> str:
    basis = setup.taken.basis
    if basis is None or basis not in BASES:
        return "the request names it"
    return f"it is recorded for {BASES[basis]}, and nothing more specific is"
