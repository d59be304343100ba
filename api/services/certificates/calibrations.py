"""Recording calibrations with their certificates, uses and results."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import insert

from api.services.base.record import Record, digest
from api.services.base.recording import (
    Collection,
    NewCertificates,
    Outcome,
    Recording,
    repeated,
)
from api.services.certificates import certificate_rows, curves
from api.services.certificates.agreed import AgreedTerms, with_specification
from api.services.certificates.circles import refuse_through_parts
from api.services.certificates.in_force import (
    refuse_circle,
    refuse_new_circle,
    refuse_unknown_names,
)
from api.services.certificates.kept_corrections import KeptCorrections
from api.services.certificates.measured import Flow
from api.services.certificates.results import ResultRows, calibrated_span
from api.services.certificates.standing import Identity, Stored
from api.services.certificates.standing import stored as stored_of
from api.services.certificates.uses import use_row
from api.services.feed import changes
from api.services.records import customers
from api.store import link_checks
from api.store.chunks import chunks
from api.store.in_force import resolve_after, resolve_items
from api.store.links import role_mark
from api.store.record_changes import touched
from api.store.serving import refresh_after
from api.store.tables import Certificate, Result, Usage

# Rows are handed to the driver in lots, so that a large laboratory need not fit in memory twice.
LOT = 2_000


def identity(calibration: Record) -> Identity:
    """Issuer, number and revision: what tells two certificates apart."""
    return calibration.get("issuer", ""), calibration["certificate"], calibration["revision"]


def record(recording: Recording, records: Sequence[Record]) -> Outcome:
    """Record calibrations that are new; the others must be the same again. Then comes `finish`."""
    identities = [identity(one) for one in records]
    names = [f'certificate "{one["certificate"]}" rev. {one["revision"]}' for one in records]
    repeated(recording, "calibrations", identities, names)
    linked = {one["item"] for one in records}
    linked.update(use["item"] for one in records for use in one.get("uses", ()))
    recording.know_items(linked)
    stored = stored_of(recording.session, identities)
    new = [i for i, one in enumerate(records) if _is_new(recording, i, one, stored, names[i])]
    _refuse_two_issued(recording, records, stored)
    rows, terms = ResultRows(recording), AgreedTerms(recording)
    makers = _Makers(rows, terms, Flow(recording), KeptCorrections(recording, stored))
    prepared = [_prepare(recording, makers, i, records[i]) for i in new]
    if not new or recording.issues or recording.conflicts:
        return Outcome(0, len(records) - len(new))
    first = _insert(recording, [one for one in prepared if one])
    recording.certificates = recording.certificates or NewCertificates(first, names[new[0]])
    return Outcome(len(new), len(records) - len(new))


def finish(recording: Recording, outcome: Outcome) -> None:
    """After the last lot, join what is new to what is there.

    What was in force is resolved for every use that the new certificates make or change, a
    calibration that would rest on itself is refused, and recalls that may change are marked.
    """
    new = recording.certificates
    if new is None or recording.issues or recording.conflicts:
        return
    session = recording.session
    served_otherwise = refresh_after(session, new.first_key)
    resolve_after(session, new.first_key)
    resolve_items(session, sorted(served_otherwise))
    refuse_unknown_names(recording, new.first_key)
    refuse_new_circle(recording, new.first_key)
    refuse_circle(recording, link_checks.touched_by_items(session, served_otherwise))
    changes.note_recorded(session, new.first_key, recording.now_us)
    recording.check()
    own = link_checks.items_from(session, new.first_key)
    used = link_checks.used_from(session, new.first_key)
    refuse_through_parts(session, own | used | served_otherwise)
    cause = f"{outcome.created} calibration(s) were recorded, {new.first_name} first"
    # A new revision may say that an older one was of another item.
    touched(
        session,
        cause,
        recording.now_us,
        inserted_from=new.first_key,
        items=served_otherwise - own,
    )


COLLECTION = Collection("calibrations", record, finish)


@dataclass(frozen=True, slots=True)
class _Prepared:
    """Rows of one calibration; the uses and results still lack the key of their certificate."""

    certificate: dict[str, Any]
    customer: str | None
    uses: list[dict[str, Any]]
    results: list[dict[str, Any]]
    override: Record | None


@dataclass(frozen=True, slots=True)
class _Makers:
    """What looks up rules, budgets, agreements and runs of one recording, each once."""

    rows: ResultRows
    agreed: AgreedTerms
    flow: Flow
    kept: KeptCorrections


def _prepare(recording: Recording, makers: _Makers, index: int, sent: Record) -> _Prepared | None:
    def place(*parts: str | int) -> str:
        return recording.place("calibrations", index, *parts)

    item = recording.item(sent["item"], place("item"))
    if item is None:
        return None
    measured = makers.flow.completed(sent, item, place)
    calibration = measured.calibration
    if calibration.get("performed_at") is None:
        remedy = "add it, or name runs that say when they were performed"
        recording.refuse(place("performed_at"), "required field is missing", remedy)
        return None
    performed = recording.moment(calibration["performed_at"])
    certificate_rows.refuse_before_service(
        recording, item, performed, place("performed_at"), calibration
    )
    certificate_rows.refuse_void_at(recording, performed, place("voided_at"), calibration)
    certificate_rows.refuse_issued_before(
        recording,
        performed.start_us,
        calibration["performed_at"],
        calibration.get("issued_at"),
        place("issued_at"),
    )
    terms = makers.agreed.of(calibration, item, performed)
    results = [
        makers.rows.row(with_specification(result, terms), position, at, terms)
        for position, (result, at) in enumerate(measured.results)
    ]
    points = {str(result["point"]) for result in results}
    uses = [
        use_row(recording, one.use, position, performed, points, one.place)
        | {"setup_check_id": one.set_up_check}
        for position, one in enumerate(measured.uses)
    ]
    row = certificate_rows.certificate_row(recording, calibration, item, performed)
    row |= {"content_hash": digest(sent), "setup_check_id": calibration.get("set_up_check")}
    row["agreement"] = None if terms is None else terms.kept
    row["curve"] = curves.recorded(recording, calibration, results, place)
    # What the curve assigns holds where it does, whatever else was measured.
    span = curves.span(row["curve"]) or calibrated_span(results)
    row["span_from"], row["span_to"] = span or (None, None)
    row["fault_corrections"] = makers.kept.of(calibration, results, place)
    row["roles"] = "".join(sorted({role_mark(use["role"]) for use in uses}))
    customer = calibration.get("customer")
    return _Prepared(row, customer, uses, results, calibration.get("override"))


def _insert(recording: Recording, prepared: Sequence[_Prepared]) -> int:
    """Insert certificates with their uses and results; return the first key given out."""
    session = recording.session
    named = {one.customer for one in prepared if one.customer is not None}
    customer_keys = customers.keys_of(session, named)
    first: int | None = None
    for lot in chunks(prepared, LOT):
        statement = insert(Certificate).returning(Certificate.id, sort_by_parameter_order=True)
        rows = [
            one.certificate | {"customer_id": customer_keys[one.customer] if one.customer else None}
            for one in lot
        ]
        keys = list(session.scalars(statement, rows))
        first = min(keys) if first is None else min(first, *keys)
        owned = list(zip(keys, lot, strict=True))
        recording.overrides |= {key: one.override for key, one in owned if one.override}
        uses = [use | {"certificate_id": key} for key, one in owned for use in one.uses]
        results = [row | {"certificate_id": key} for key, one in owned for row in one.results]
        if uses:
            session.execute(insert(Usage), uses)
        if results:
            session.execute(insert(Result), results)
    if first is None:
        raise ValueError("nothing to insert")
    return first


def _is_new(
    recording: Recording, index: int, one: Record, stored: dict[Identity, Stored], name: str
) -> bool:
    known = stored.get(identity(one))
    if known is None:
        return True
    otherwise = known.otherwise(recording.session, one)
    if otherwise is not None:
        said, remedy = otherwise
        place = recording.place("calibrations", index)
        recording.conflict(place, f"{name} {said}", remedy, one["certificate"])
    return False


def _refuse_two_issued(
    recording: Recording, records: Sequence[Record], stored: dict[Identity, Stored]
) -> None:
    issued = {key[:2]: key[2] for key, one in stored.items() if one.status == "issued"}
    for index, one in enumerate(records):
        if one["status"] != "issued" or identity(one) in stored:
            continue
        issuer, number, revision = identity(one)
        other = issued.setdefault((issuer, number), revision)
        if other != revision:
            recording.refuse(
                recording.place("calibrations", index, "status"),
                f'certificate "{number}" has two issued revisions, {other} and {revision}',
                'mark the older one "superseded", or post the new one to '
                "/v1/certificates/{number}/revisions",
                number,
            )
