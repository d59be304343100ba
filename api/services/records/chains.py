"""The chain from a certificate up to external ones, at the instants of use, with its breaks.

Metrological traceability asks for a documented unbroken chain of calibrations, each with an
uncertainty (ISO/IEC 17025:2017, 6.5; JCGM 200:2012, 2.41). Adapters, parts and software shape a
result but carry no value; they are shown and not followed. Neither is an item whose record says,
under the property `calibration`, why it needs none.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, ScalarSelect, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from api.services.base.record import Record
from api.services.records.due import overdue
from api.services.records.measured_in import measured_in
from api.store.chunks import chunks
from api.store.tables import Certificate, Item, Result, Usage
from graph.moments import text_of

WITHOUT_VALUE = ("adapter", "adapter_part", "software")
Source = aliased(Certificate)
Voided = aliased(Certificate)


@dataclass(frozen=True, slots=True)
class Break:
    """One place where the chain does not hold."""

    kind: str
    certificate: str
    item: str
    detail: str


def walked(session: Session, certificate: Certificate) -> tuple[Record, set[int]]:
    """Return every link above a certificate, the roots it ends at, and the breaks.

    Beside it stand the keys of all certificates met, its own among them.
    """
    links: list[Record] = []
    breaks: list[Break] = []
    level, frontier, seen, resting = 1, {certificate.id}, set[int](), set[int]()
    while frontier:
        seen |= frontier
        above: set[int] = set()
        for row in _uses(session, frontier):
            links.append(_link(row, level))
            breaks.extend(_breaks(row))
            if row.source_id is not None:
                above.add(row.source_id)
            if row.source_id is not None or _carries_value(row):
                resting.add(row.certificate_id)
        frontier, level = above - seen, level + 1
    roots, rootless = _roots(session, seen, resting)
    breaks.extend(rootless)
    found: Record = {
        "certificate": certificate.number,
        "revision": certificate.revision,
        "unbroken": not breaks,
        "breaks": [
            {"kind": b.kind, "certificate": b.certificate, "item": b.item, "detail": b.detail}
            for b in breaks
        ],
        "roots": roots,
        "links": links,
        "measured_in": _measured_in(session, seen),
    }
    return found, seen


def _measured_in(session: Session, certificates: set[int]) -> list[Record]:
    """Return what the certificates of a chain were measured in, as far as they say."""
    found = measured_in(session, certificates)
    rows = session.execute(
        select(Certificate.id, Certificate.number, Certificate.revision)
        .where(Certificate.id.in_(found))
        .order_by(Certificate.number, Certificate.revision)
    )
    return [{"certificate": row.number, "revision": row.revision, **found[row.id]} for row in rows]


def _uses(session: Session, certificates: Iterable[int]) -> list[Row[*tuple[Any, ...]]]:
    """Uses of these certificates with what was in force, and what is known against it."""
    has_uncertainty = exists().where(
        Result.certificate_id == Source.id,
        or_(Result.U.is_not(None), Result.U_rel_pct.is_not(None)),
    )
    found: list[Row[*tuple[Any, ...]]] = []
    for some in chunks(sorted(certificates)):
        found += session.execute(
            select(
                Usage.certificate_id,
                Certificate.number,
                Certificate.revision,
                Usage.role,
                Usage.used_us,
                Usage.source_id,
                Item.code,
                Item.kind,
                Item.properties,
                Source.number.label("source"),
                Source.revision.label("source_revision"),
                Source.status.label("source_status"),
                Source.due_at,
                Source.due_us,
                has_uncertainty.label("has_uncertainty"),
                _voided(Voided.number).label("voided"),
                _voided(Voided.voided_at).label("voided_at"),
            )
            .join(Certificate, Certificate.id == Usage.certificate_id)
            .join(Item, Item.id == Usage.item_id)
            .outerjoin(Source, Source.id == Usage.source_id)
            .where(Usage.certificate_id.in_(some))
            .order_by(Certificate.number, Certificate.revision, Usage.position)
        )
    return found


def _voided(column: Any) -> ScalarSelect[Any]:
    """What would have been in force for a use, had it not been voided."""
    return (
        select(column)
        .where(
            Usage.named_certificate.is_(None),
            Voided.item_id == Usage.item_id,
            Voided.status == "voided",
            Voided.assigns_value.is_(True),
            Voided.never_issued.is_(False),
            Voided.performed_us <= Usage.used_end_us,
            or_(Voided.voided_us.is_(None), Voided.voided_us <= Usage.used_end_us),
            or_(
                Voided.mode.is_(None),
                func.coalesce(Certificate.mode, Voided.mode) == Voided.mode,
            ),
            or_(Source.id.is_(None), Voided.performed_us >= Source.performed_us),
        )
        .order_by(Voided.performed_us.desc(), Voided.revision.desc())
        .limit(1)
        .scalar_subquery()
    )


def _link(row: Row[*tuple[Any, ...]], level: int) -> Record:
    link: Record = {
        "level": level,
        "certificate": row.number,
        "revision": row.revision,
        "item": row.code,
        "role": row.role,
        "used_at": text_of(row.used_us),
    }
    if row.source_id is not None:
        link["rests_on"] = {"certificate": row.source, "revision": row.source_revision}
    elif not _carries_value(row):
        link["carries_value"] = False
    return link


def _carries_value(row: Row[*tuple[Any, ...]]) -> bool:
    exempt = isinstance(row.properties, dict) and "calibration" in row.properties
    return row.kind not in WITHOUT_VALUE and not exempt


def _breaks(row: Row[*tuple[Any, ...]]) -> list[Break]:
    def found(kind: str, detail: str) -> Break:
        return Break(kind, row.number, row.code, detail)

    used_at = text_of(row.used_us)
    breaks = []
    if row.source_id is None:
        if not _carries_value(row):
            return []
        breaks.append(
            found("no_calibration_in_force", f"{row.code} had no calibration in force at {used_at}")
        )
    else:
        if overdue(row.due_us, row.used_us):
            detail = f"{row.source} was due at {row.due_at}; {row.code} was used at {used_at}"
            breaks.append(found("overdue", detail))
        if not row.has_uncertainty:
            breaks.append(found("no_uncertainty", f"{row.source} states no uncertainty"))
    if row.voided_at is not None:
        detail = f"{row.voided} was voided at {row.voided_at}, before {row.code} was used"
        breaks.append(found("voided_value", detail))
    elif row.source_status == "voided" or row.voided is not None:
        detail = f"{row.voided or row.source} was in force for {row.code} and has been voided since"
        breaks.append(found("voided_since", detail))
    return breaks


def _roots(
    session: Session, certificates: set[int], resting: set[int]
) -> tuple[list[Record], list[Break]]:
    """Certificates at which the chain ends: external ones, and those that end it too early.

    `resting` are those that used an item which carries a value.
    """
    roots: list[Record] = []
    breaks: list[Break] = []
    for some in chunks(sorted(certificates)):
        rows = session.execute(
            select(Certificate, Item.code)
            .join(Item, Item.id == Certificate.item_id)
            .where(Certificate.id.in_(some))
            .order_by(Certificate.number, Certificate.revision)
        )
        for one, item in rows:
            if one.external:
                roots.append(
                    {
                        "certificate": one.number,
                        "issuer": one.issuer,
                        "accreditation": one.accreditation,
                        "item": item,
                    }
                )
            elif one.id not in resting:
                detail = f"{one.number} rests on nothing and is not an external certificate"
                breaks.append(Break("no_external_root", one.number, item, detail))
    return roots, breaks
