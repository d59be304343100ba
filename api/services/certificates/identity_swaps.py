"""Two items that were taken for each other during some time: a label, a serial number, a case.

What is recorded of one in that time is the other's: calibrations of it, uses of it, holdings in
which it is the part or the assembly, and checks of it or against it. The old records are kept as
corrections of each; what was in force is resolved again, all in one transaction. The same exchange
again takes it back.

Choice: a record belongs to the time if it begins in it, from `from` (inclusive) until `until`
(exclusive); a bare date begins with its day, and as `until` it is the whole day, as for a holding.
Holdings are cut at the bounds (`identity_holdings`). Both items must be of kinds that are taken for
each other on a bench: one kind, or two of load cells and links that measure, whoever owns them and
whatever they serve as, or an adapter and a part of one. A pin cannot have been a machine.
A use that would name a certificate of the item that it was not is corrected first, since nobody but
a person knows which value was taken.

Not changed: load events, set-up checks, run evaluations, comparisons and budgets, which are never
written again, and stored recalls and decisions, which say what was found at their time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, insert, or_, select, true, update
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue
from api.services.base.record import Record
from api.services.base.recording import Recording
from api.services.certificates.circles import refuse_through_parts
from api.services.certificates.identity_holdings import swap_holdings
from api.services.certificates.in_force import refuse_circle
from api.services.certificates.use_corrections import kept
from api.services.records import checks, record_corrections
from api.services.records.compositions import exclusive_end, refuse_circle_of_parts
from api.services.records.record_corrections import CALIBRATIONS, CHECKS, IDENTITY
from api.store import link_checks
from api.store.chunks import chunks
from api.store.in_force import resolve_items
from api.store.record_changes import touched
from api.store.tables import Certificate, Check, Item, RecordCorrection, Usage, UseCorrection

# Kinds of item that look alike; common practice, no source.
ALIKE = (
    frozenset(("reference_standard", "working_standard", "customer_instrument")),
    frozenset(("adapter", "adapter_part")),
)


@dataclass(frozen=True, slots=True)
class Swap:
    """The two items by key, and the time: from (inclusive) until (exclusive; None: open)."""

    items: Mapping[int, Item]
    from_us: int
    until_us: int | None
    correction: Record

    def other(self, key: int) -> int:
        """Key of the item that the one of this key was taken for."""
        return sum(self.items) - key

    def began(self, instant: Any) -> ColumnElement[bool]:
        """Whether a record that begins at an instant belongs to the time."""
        ended = true() if self.until_us is None else instant < self.until_us
        return and_(instant >= self.from_us, ended)


def swap(recording: Recording, request: Record) -> Record:
    """Exchange two items in the records of some time; return what was done.

    Raises
    ------
    InvalidRecord
        If the items are one or not recorded, nothing is recorded of them in that time, one of them
        was not in service yet, a use names a certificate of the other, or something would rest on
        or hold itself.
    Conflict
        If they are of different kinds, or a holding would stand twice.
    """
    session = recording.session
    recording.single = "identity-swaps"
    one = _swap(recording, request)
    moved = {
        "calibrations": _calibrations(recording, one),
        "uses": _uses(recording, one),
        "checks": _checks(recording, one),
        "compositions": swap_holdings(
            recording, tuple(one.items), one.from_us, one.until_us, one.correction
        ),
    }
    if not any(moved.values()):
        issue = Issue("/from", "nothing is recorded of either in that time", "check both bounds")
        raise InvalidRecord("nothing to exchange", [issue])
    keys = sorted(one.items)
    session.expire_all()
    resolve_items(session, keys)
    _refuse_names(recording, one)
    refuse_circle(recording, link_checks.touched_by_items(session, keys))
    refuse_circle_of_parts(recording)
    recording.check()
    refuse_through_parts(session, keys, "/items")
    made = _keep(recording, one, request, moved)
    codes = " and ".join(request["items"])
    touched(session, f"{codes} were taken for each other", recording.now_us, items=keys)
    return {"id": made.id} | record_corrections.swap_answer(made)


def _swap(recording: Recording, request: Record) -> Swap:
    first, second = request["items"]
    recording.know_items({first, second})
    facts = [recording.item(code, f"/items/{n}") for n, code in enumerate(request["items"])]
    if first == second:
        recording.refuse("/items", "one item", "name the two that were taken for each other", first)
    from_us = recording.moment(request["from_"]).start_us
    until = request.get("until")
    until_us = None if until is None else exclusive_end(recording, until)
    if until_us is not None and until_us <= from_us:
        recording.refuse("/until", "it ends before it begins", "until is after from", until)
    recording.check()
    kinds = {one.code: one.kind for one in facts if one is not None}
    found = set(kinds.values())
    if len(found) > 1 and not any(found <= alike for alike in ALIKE):
        words = ", ".join(f"{code} is a {kind}" for code, kind in kinds.items())
        issue = Issue("/items", words, "an item is taken for one of its kind, or of one like it")
        raise Conflict("the items are of different kinds", [issue])
    keys = sorted(one.key for one in facts if one is not None)
    items = {key: recording.session.get_one(Item, key) for key in keys}
    return Swap(items, from_us, until_us, request)


def _calibrations(recording: Recording, one: Swap) -> int:
    session = recording.session
    which = Certificate.item_id.in_(one.items) & one.began(Certificate.performed_us)
    rows = session.execute(
        select(Certificate.id, Certificate.item_id, Certificate.performed_end_us).where(which)
    ).all()
    for row in rows:
        _refuse_before_service(recording, one, row.item_id, row.performed_end_us)
        was, now = one.items[row.item_id], one.items[one.other(row.item_id)]
        record_corrections.keep(
            recording, CALIBRATIONS, row.id, {"item": was.code}, {"item": now.code}, one.correction
        )
    recording.check()
    for some in chunks([row.id for row in rows]):
        _exchange(session, one, Certificate, Certificate.id.in_(some))
    return len(rows)


def _uses(recording: Recording, one: Swap) -> int:
    session = recording.session
    which = Usage.item_id.in_(one.items) & one.began(Usage.used_us)
    uses = session.scalars(select(Usage).where(which).order_by(Usage.id)).all()
    for some in chunks(uses):
        corrections = []
        for use in some:
            _refuse_before_service(recording, one, use.item_id, use.used_end_us)
            was, now = one.items[use.item_id], one.items[one.other(use.item_id)]
            corrections.append(
                {
                    "certificate_id": use.certificate_id,
                    "position": use.position,
                    "before": kept(use, was.code),
                    "after": kept(use, now.code),
                    "person": one.correction["by"],
                    "reason": one.correction["reason"],
                    "at_us": recording.now_us,
                }
            )
        recording.check()
        session.execute(insert(UseCorrection), corrections)
        _exchange(session, one, Usage, Usage.id.in_([use.id for use in some]))
    return len(uses)


def _checks(recording: Recording, one: Swap) -> int:
    session = recording.session
    concerned = or_(Check.item_id.in_(one.items), Check.against_id.in_(one.items))
    rows = session.scalars(select(Check).where(concerned, one.began(Check.performed_us))).all()
    for check in rows:
        before = checks.as_sent(session, check)
        if check.item_id in one.items:
            _refuse_before_service(recording, one, check.item_id, check.performed_end_us)
            check.item_id = one.other(check.item_id)
        if check.against_id is not None and check.against_id in one.items:
            check.against_id = one.other(check.against_id)
        after = checks.as_sent(session, check)
        record_corrections.keep(recording, CHECKS, check.id, before, after, one.correction)
    recording.check()
    session.flush()
    return len(rows)


def _exchange(session: Session, one: Swap, table: Any, which: ColumnElement[bool]) -> None:
    session.execute(
        update(table)
        .where(which)
        .values(item_id=sum(one.items) - table.item_id)
        .execution_options(synchronize_session=False)
    )


def _refuse_before_service(recording: Recording, one: Swap, key: int, end_us: int) -> None:
    other = one.items[one.other(key)]
    if other.in_service_us is not None and end_us < other.in_service_us:
        recording.refuse(
            "/items",
            f'"{other.code}" was not in service before {other.in_service_from}',
            "check the dates, or the item's in_service_from",
            other.code,
        )


def _refuse_names(recording: Recording, one: Swap) -> None:
    """A use must not name a certificate of the item that it was not."""
    rows = recording.session.execute(
        select(
            Certificate.number,
            Certificate.revision,
            Usage.position,
            Usage.named_certificate,
            Usage.item_id,
        )
        .join(Certificate, Certificate.id == Usage.certificate_id)
        .where(
            Usage.item_id.in_(one.items),
            Usage.named_certificate.is_not(None),
            Usage.source_id.is_(None),
        )
        .order_by(Usage.id)
    )
    for row in rows:
        code = one.items[row.item_id].code
        use = f"use {row.position} of {row.number} rev. {row.revision}"
        recording.refuse(
            "/items",
            f'{use} would be of "{code}" and names {row.named_certificate}, which is not of it',
            "correct that use first: name the certificate whose value was taken, or none",
            row.number,
        )


def _keep(
    recording: Recording, one: Swap, request: Record, moved: Mapping[str, int]
) -> RecordCorrection:
    session = recording.session
    said: Record = {"items": list(request["items"]), "from": request["from_"]}
    if request.get("until") is not None:
        said["until"] = request["until"]
    after = {"moved": dict(moved)}
    kept_rows = [
        record_corrections.keep(recording, IDENTITY, key, said, after, one.correction)
        for key in sorted(one.items)
    ]
    # What is shown of both changes, so that nobody changes them by an older reading.
    session.execute(
        update(Item)
        .where(Item.id.in_(one.items))
        .values(version=Item.version + 1)
        .execution_options(synchronize_session=False)
    )
    session.flush()
    session.expire_all()
    record_corrections.journal(session, "identities exchanged", one.correction, **said, moved=moved)
    return kept_rows[0]
