"""A fault made from a standard's own failed as-found calibration: its errors become the segments.

An instrument that reads e high at a force made everything measured with it there too small by
delta = 1/(1 + e) - 1. Between two points the force half-way belongs to the lower one; the first
segment begins at zero and the last one has no upper end. The window reaches from the calibration
before, the last good evidence, to this one. A person looks at the draft before it is reported.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue
from api.services.base.record import Record
from api.services.recalls.reading import Traced
from api.services.recalls.reading_results import Measured
from api.services.records.revisions import choose
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import Certificate, Item
from graph.exact import text
from graph.model import Point

KILO = 1000
# Halves of recorded forces end soon; a delta is a quotient and is cut where recalls are.
_STAGES = ("as_found", "single")


def draft(session: Session, number: str, issuer: str | None, revision: int | None) -> Record:
    """Return the fault that a certificate's as-found results show, with what to check about it.

    Raises
    ------
    NotFound
        If the certificate is not recorded.
    InvalidRecord
        If it has no as-found results with force and error.
    """
    certificate = choose(session, number, issuer, revision)
    traced = Traced(Recorded(SessionReader(session)))
    traced.read([certificate.id])
    ((calibration, _),) = Measured(traced).in_order([certificate.id], {certificate.id})
    points = _as_found(calibration.points)
    if not points:
        issue = Issue(
            "/certificate",
            "no as-found result with force and error",
            "name a certificate that reports what was found before adjustment",
            number,
        )
        raise InvalidRecord("no fault can be drawn from this certificate", [issue])
    item = session.scalars(select(Item).where(Item.id == certificate.item_id)).one()
    before = _before(session, certificate)
    fault: Record = {
        "item": item.code,
        "kind": "true_force_relative_error",
        "segments": _segments(points),
        "last_good_at": None if before is None else before.performed_at,
        "isolated_at": certificate.performed_at,
        "meaning": f"found by calibration {number}: the errors before adjustment",
    }
    uncertainty = _largest_uncertainty(points)
    if uncertainty is not None:
        fault |= {"U_delta_rel": text(uncertainty), "U_delta_k": "2"}
    return {"fault": fault, "notes": _notes(before, certificate)}


def _as_found(points: Sequence[Point]) -> list[tuple[Fraction, Fraction, Point]]:
    """(force in N, relative error, point) of the as-found results, by force."""
    for stage in _STAGES:
        found = []
        for point in points:
            force = point.force_n
            if point.stage == stage and force and force > 0 and point.error is not None:
                found.append((force, Fraction(point.error) / Fraction(point.applied or 1), point))
        if found:
            return sorted(found, key=lambda one: one[0])
    return []


def _segments(points: Sequence[tuple[Fraction, Fraction, Point]]) -> list[dict[str, Any]]:
    by_force: dict[Fraction, list[Fraction]] = {}
    for force, error, _ in points:
        by_force.setdefault(force, []).append(error)
    forces = sorted(by_force)
    edges = [(low + high) / 2 for low, high in pairwise(forces)]
    segments = []
    for force, above, up_to in zip(forces, [Fraction(0), *edges], [*edges, None], strict=True):
        error = sum(by_force[force], Fraction(0)) / len(by_force[force])
        segments.append(
            {
                "above_kN": text(above / KILO),
                "up_to_kN": None if up_to is None else text(up_to / KILO),
                "delta_rel": text(1 / (1 + error) - 1),
            }
        )
    return segments


def _largest_uncertainty(points: Sequence[tuple[Fraction, Fraction, Point]]) -> Fraction | None:
    """Largest relative uncertainty of the errors at k = 2, where all of them have one."""
    found = []
    for _, _, point in points:
        if point.U is None:
            return None
        whole = abs(Fraction(point.applied or 1))
        found.append(2 * Fraction(point.U) / Fraction(point.k or Decimal(2)) / whole)
    return max(found)


def _before(session: Session, certificate: Certificate) -> Certificate | None:
    """Return the item's latest issued calibration before this one."""
    return session.scalars(
        select(Certificate)
        .where(
            Certificate.item_id == certificate.item_id,
            Certificate.status == "issued",
            Certificate.performed_us < certificate.performed_us,
        )
        .order_by(Certificate.performed_us.desc(), Certificate.revision.desc())
        .limit(1)
    ).first()


def _notes(before: Certificate | None, certificate: Certificate) -> list[str]:
    notes = [
        "the errors are taken as they were found, against the reference of that calibration; if "
        "the item was used with a curve, the change against that curve is the fault",
        "isolated_at is the instant of the calibration; if the item was taken out of use earlier, "
        "say so",
    ]
    if before is None:
        notes.append("no earlier calibration is recorded: the window has no start")
    else:
        notes.append(f"last_good_at is the calibration before, {before.number}")
    if certificate.status != "issued":
        notes.append(f"{certificate.number} is {certificate.status}")
    return notes
