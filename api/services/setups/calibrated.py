"""Is what measures the force calibrated, and not overdue? Asked for the instant of the load.

Choice: the machine, the references and the readouts are asked; the instrument comes to be
calibrated. In force is the latest issued calibration performed up to then, of any kind; due is that
of the value in force (`api.services.records.due`), or the latest where none assigned a value. An
item whose record says under the property `calibration` why it needs none is believed.

Not checked: whether the calibration covers the planned forces.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from sqlalchemy import select, true
from sqlalchemy.orm import Session

from api.rules.fitting.life import US_A_DAY
from api.services.base.record import Record
from api.services.records.due import overdue
from api.services.setups.findings import AGREES, DIFFERS, NOT_CHECKED, finding
from api.services.setups.setups import Piece, Setup
from api.store.chunks import chunks
from api.store.tables import Certificate


def latest_calibrations(
    session: Session, items: Collection[int], at_us: int, *, valued: bool = False
) -> dict[int, Certificate]:
    """Return the latest issued calibration of each item up to an instant, or that of its value."""
    found: dict[int, Certificate] = {}
    for some in chunks(sorted(items)):
        statement = select(Certificate).where(
            Certificate.item_id.in_(some),
            Certificate.status == "issued",
            Certificate.performed_us <= at_us,
            Certificate.assigns_value if valued else true(),
        )
        in_order = statement.order_by(Certificate.performed_us, Certificate.revision)
        for certificate in session.scalars(in_order):
            found[certificate.item_id] = certificate
    return found


def calibration_findings(
    setup: Setup, calibrated: Mapping[int, Certificate], values: Mapping[int, Certificate]
) -> Iterator[Record]:
    """Return the findings on calibration in force and on due dates, from the latest of each."""
    asked = [*([setup.machine] if setup.machine else []), *setup.references, *setup.readouts]
    for one in asked:
        yield from _calibration(setup, one, calibrated.get(one.item.id))
        due = values.get(one.item.id) or calibrated.get(one.item.id)
        if due is not None:
            yield _due(setup, one, due)
    if not setup.machine and not setup.references:
        yield finding(
            "calibration_in_force",
            NOT_CHECKED,
            [],
            "Neither a force machine nor a reference is named; nobody can say what the force is.",
            missing="machine or references in the request",
            remedy="name what applies and measures the force",
        )


def _calibration(setup: Setup, one: Piece, last: Certificate | None) -> Iterator[Record]:
    exempt = one.stated("calibration")
    if last is None:
        if exempt is not None:
            yield finding(
                "calibration_in_force",
                AGREES,
                [one],
                f"{one.code} needs no calibration: {exempt}.",
                found=str(exempt),
            )
            return
        yield finding(
            "calibration_in_force",
            DIFFERS,
            [one],
            f"{one.code} has no issued calibration in force at {setup.at_text}.",
            required="an issued calibration",
            remedy="calibrate it first, or record its certificate",
        )
        return
    name = f"{last.number} revision {last.revision}"
    kind = "is in force" if last.assigns_value else "confirms its limits and assigns no value"
    said = f"{name} of {last.performed_at} {kind} for {one.code}."
    yield finding("calibration_in_force", AGREES, [one], said, found=name)


def _due(setup: Setup, one: Piece, last: Certificate) -> Record:
    if last.due_us is None:
        return finding(
            "calibration_due",
            NOT_CHECKED,
            [one],
            f"{last.number} of {one.code} states no due date.",
            missing="due_at of the certificate",
            remedy="look up the interval of the item",
        )
    more = {"required": last.due_at, "required_by": last.number, "found": setup.at_text}
    late_us = setup.at.start_us - last.due_us
    if not overdue(last.due_us, setup.at.start_us):
        said = f"{one.code} is due at {last.due_at}."
        return finding("calibration_due", AGREES, [one], said, **more)
    days = -(-late_us // US_A_DAY)
    return finding(
        "calibration_due",
        DIFFERS,
        [one],
        f"{one.code} was due at {last.due_at}: it is overdue by {days} day(s).",
        off_by={"absolute": f"{days} days", "relative": None},
        remedy="calibrate it first, or use another",
        **more,
    )
