"""Rows of certificates: what a calibration says of itself beside its uses and results."""

from __future__ import annotations

from typing import Any

from api.services.base.record import Record, digest
from api.services.base.recording import ItemFacts, Recording, remarks
from api.store.fitting import SetupCheck
from graph.moments import Moment
from graph.serving import Revision, serving

COLUMNS = (
    "revision",
    "status",
    "performed_at",
    "issued_at",
    "due_at",
    "accreditation",
    "method",
    "mode",
    "order",
    "adjusted",
    "amendment",
    "void_reason",
    "voided_at",
    "load_applications",
    "note",
)


def setup_check(recording: Recording, calibration: Record, place: str) -> int | None:
    """Return the key of the set-up check that a calibration names; one not recorded is noted."""
    key: int | None = calibration.get("setup_check")
    if key is not None and recording.session.get(SetupCheck, key) is None:
        detail, remedy = f"set-up check {key} is not recorded", "make it at POST /v1/setup-checks"
        recording.lacks("setup_checks", str(key), place, detail, remedy)
    return key


def certificate_row(
    recording: Recording, calibration: Record, item: ItemFacts, performed: Moment
) -> dict[str, Any]:
    """Return the row of a certificate, without what comes from its uses and results."""
    due = calibration.get("due_at")
    superseded_by = calibration.get("superseded_by")
    issued_at, voided_at = calibration.get("issued_at"), calibration.get("voided_at")
    issued = None if issued_at is None else recording.moment(issued_at).start_us
    # Who used it on the day of its void may have used it before.
    voided = None if voided_at is None else recording.moment(voided_at).end_us
    # As if it were the only revision of its number; `refresh_after` looks at the others.
    alone = Revision(
        calibration["revision"], calibration["status"], performed.start_us, issued, voided
    )
    (serves,) = serving([alone])
    return {
        **{name: calibration.get(name) for name in COLUMNS},
        "issuer": calibration.get("issuer", ""),
        "number": calibration["certificate"],
        "item_id": item.key,
        "performed_us": performed.start_us,
        "performed_end_us": performed.end_us,
        "issued_us": issued,
        "voided_us": voided,
        "never_issued": False,
        "serves_from_us": serves.from_us,
        "serves_until_us": serves.until_us,
        "due_us": None if due is None else recording.moment(due).end_us,
        "external": calibration["external"],
        "assigns_value": calibration["assigns_value"],
        "superseded_by": None if superseded_by is None else str(superseded_by),
        "remarks": remarks(calibration),
        "content_hash": digest(calibration),
        "recorded_us": recording.now_us,
        "version": 1,
    }


def refuse_before_service(
    recording: Recording, item: ItemFacts, at: Moment, place: str, record: Record
) -> None:
    """Note a calibration of an item before it was in service."""
    if item.in_service_us is not None and at.end_us < item.in_service_us:
        recording.refuse(
            place,
            f'item "{item.code}" was not in service yet',
            "check the date, or the item's in_service_from",
            record.get("performed_at"),
        )


def refuse_void_at(recording: Recording, performed: Moment, place: str, record: Record) -> None:
    """Note an instant of a void that a certificate cannot have."""
    at = record.get("voided_at")
    if at is None:
        return
    if record["status"] != "voided":
        remedy = 'send the status "voided", or leave voided_at out'
        recording.refuse(place, f"the certificate is {record['status']}, not voided", remedy, at)
    if recording.moment(at).end_us < performed.start_us:
        remedy = f"it was calibrated {record['performed_at']}; check both dates"
        recording.refuse(place, "voided before the calibration", remedy, at)
