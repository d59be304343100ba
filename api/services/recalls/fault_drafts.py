"""A fault made from a standard's own failed as-found calibration: its errors become the segments.

An instrument that reads e high at a force made everything measured with it there too small by
delta = 1/(1 + e) - 1. Between two points the force half-way belongs to the lower one; the first
segment begins at zero and the last one has no upper end. The window reaches from the last
calibration before that did not fail as it was left, the last good evidence, to this one; it stays
open where the item was used after it failed, since a window ends with isolation and not with
discovery. A person looks at the draft before it is reported.
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
from api.services.casework.isolation import isolated_items
from api.services.recalls.curve_drafts import curve_draft
from api.services.recalls.later_uses import span_of, uses_within
from api.services.recalls.reading import Traced
from api.services.recalls.reading_results import Measured
from api.services.recalls.soundness import histories
from api.services.records.revisions import choose
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import Certificate, Item
from graph.exact import text
from graph.model import Point
from graph.moments import text_of

KILO = 1000
# Halves of recorded forces end soon; a delta is a quotient and is cut where recalls are.
_STAGES = ("as_found", "single")


def draft(session: Session, number: str, issuer: str | None, revision: int | None) -> Record:
    """Return the fault that a certificate's as-found results show, with what to check about it.

    Of a revision that changes the curve of the one before it is that change.

    Raises
    ------
    NotFound
        If the certificate is not recorded.
    InvalidRecord
        If it has no as-found results with force and error.
    """
    certificate = choose(session, number, issuer, revision)
    of_curve = curve_draft(session, certificate)
    if of_curve is not None:
        return of_curve
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
    before, passed_over = last_good(session, item.id, certificate.performed_us)
    isolated_at, ending = window_end(
        session,
        item,
        certificate.performed_at,
        (certificate.performed_us, certificate.performed_end_us),
        "calibration",
    )
    fault: Record = {
        "item": item.code,
        "kind": "true_force_relative_error",
        "segments": _segments(points),
        "last_good_at": None if before is None else before.performed_at,
        "isolated_at": isolated_at,
        "meaning": f"found by calibration {number}: the errors before adjustment",
    }
    uncertainty = _largest_uncertainty(points)
    if uncertainty is not None:
        fault |= {"U_delta_rel": text(uncertainty), "U_delta_k": "2"}
    return {
        "fault": fault,
        "notes": _notes([ending, *window_notes(before, passed_over)], certificate),
    }


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


def last_good(
    session: Session, item: int, before_us: int
) -> tuple[Certificate | None, list[Certificate]]:
    """Return the last calibration of an item before an instant whose values held, and what failed.

    One fails if its results as left (or single) do, or those as found where it has no others. The
    second value are later ones that failed and were passed over. Certificates without results are
    believed, since nothing speaks against them.
    """
    spoken = histories(session, [item]).get(item, [])
    good = {one.certificate for one in spoken if one.good}
    failed = {one.certificate for one in spoken if not one.good} - good
    passed_over: list[Certificate] = []
    for certificate in session.scalars(
        select(Certificate)
        .where(
            Certificate.item_id == item,
            Certificate.status == "issued",
            Certificate.performed_us < before_us,
        )
        .order_by(Certificate.performed_us.desc(), Certificate.revision.desc())
    ):
        if certificate.id not in failed:
            return certificate, passed_over
        passed_over.append(certificate)
    return None, passed_over


def window_end(
    session: Session, item: Item, at: str, failed_us: tuple[int, int], shown_by: str
) -> tuple[str | None, str]:
    """Return where the window of a failure ends, None if open, and the note that says why.

    The failure was found `at`, from the first to the last microsecond of `failed_us`. Uses behind
    the next good evidence are another matter; a recorded isolation ends the window if none of the
    others came after it.
    """
    begin_us, end_us = failed_us
    span = span_of(histories(session, [item.id]).get(item.id, []), begin_us)
    later = uses_within(session, item.id, span._replace(after_us=None))
    later = [one for one in later if one.used_us > end_us]
    if not later:
        says = f"isolated_at is the instant of the {shown_by}; if it was taken out of use earlier, "
        return at, f"{says}say so"
    ends = [
        one.after_us
        for one in isolated_items(session).get(item.code, ())
        if one.holder is None and one.channel is None and one.after_us >= later[-1].used_us
    ]
    if ends:
        isolated = text_of(min(ends))
        return isolated, "isolated_at is the isolation of the item that a recall recorded"
    uses = "1 later use" if len(later) == 1 else f"{len(later)} later uses"
    return None, (
        f"{uses} of {item.code} after it failed, and nothing good between: the window has no end; "
        "isolated_at is the instant at which it was really taken out of use, not of the failure"
    )


def window_notes(before: Certificate | None, passed_over: Sequence[Certificate]) -> list[str]:
    """Return what a draft says about the start of its window."""
    notes = [f"{one.number} failed as it was left and is no good evidence" for one in passed_over]
    if before is None:
        return [*notes, "no good calibration before it is recorded: the window has no start"]
    which = f"last_good_at is the last calibration before that did not fail, {before.number}"
    return [*notes, which]


def _notes(window: Sequence[str], certificate: Certificate) -> list[str]:
    notes = [
        "the errors are taken as they were found, against the reference of that calibration; if "
        "the item was used with a curve, the change against that curve is the fault",
        *window,
    ]
    if certificate.status != "issued":
        notes.append(f"{certificate.number} is {certificate.status}")
    return notes
