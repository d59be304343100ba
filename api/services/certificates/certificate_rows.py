"""Rows of certificates: what a calibration says of itself beside its uses and results."""

from __future__ import annotations

from typing import Any

from api.services.base.record import Record
from api.services.base.recording import ItemFacts, Recording, remarks
from graph.moments import Moment
from graph.serving import Revision, serving

# What a certificate says of itself, in the order in which it is shown.
HEAD = (
    "revision",
    "status",
    "performed_at",
    "issued_at",
    "due_at",
    "external",
    "accreditation",
    "method",
    "mode",
    "order",
    "agreement",
    "adjusted",
    "assigns_value",
    "amendment",
    "superseded_by",
    "void_reason",
    "voided_at",
    "load_applications",
    "run_evaluation",
    "budget",
    "curve",
    "place",
    "conditions",
    "received_at",
    "performed_by",
    "authorised_by",
    "note",
)
# What a calibration says of itself in the same words; the others are worked out of what it says.
COLUMNS = tuple(
    name
    for name in HEAD
    if name not in ("agreement", "assigns_value", "curve", "external", "superseded_by")
)


def certificate_row(
    recording: Recording, calibration: Record, item: ItemFacts, performed: Moment
) -> dict[str, Any]:
    """Return the row of a certificate, without its hash and what uses and results give."""
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


def refuse_issued_before(
    recording: Recording, performed_us: int, performed_at: str, issued_at: str | None, place: str
) -> None:
    """Note an issue that ended before the calibration began; a bare date ends with its day."""
    if issued_at is not None and recording.moment(issued_at).end_us < performed_us:
        remedy = f"it was calibrated {performed_at}; check both dates"
        recording.refuse(place, "issued before the calibration", remedy, issued_at)
