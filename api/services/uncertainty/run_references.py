"""How sure is the force of runs? As sure as the references in the set-up that was checked.

Choice: runs that name a set-up check and no reference take U of its references: of each the largest
U/k in percent of the force that its value in force states, at any force but zero, times its share,
together the root of the sum of squares; the machine counts where no reference is named. The value
in force is found as for a use at the time of the runs. Where one states no U, none is taken.

Not checked: that the largest is not much more than what holds at the forces of the runs; whoever
knows better sends it.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from sqlalchemy import or_, select, true
from sqlalchemy.orm import Session

from api.rules.uncertainty.rounding import root, text
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.store.fitting import SetupCheck
from api.store.tables import Certificate, Item, Result
from graph.model import VALUE_STAGES
from graph.moments import moment

COVERAGE = 2


def with_reference(session: Session, request: Mapping[str, Any]) -> Record:
    """Return a request of runs with U of the references of its set-up, if it sends none itself.

    It then stands under `reference`, with the certificates that it is from under `of`.
    """
    found: Record = dict(request)
    key = request.get("set_up_check")
    row = None if key is None else session.get(SetupCheck, key)
    if row is None or "reference" in request:
        return found
    at = moment(request.get("performed_at", row.answer["at"]), zone_of(session))
    variance, named = Fraction(0), []
    for item, share in _references(row.request):
        certificate = _in_force(session, item, at.end_us, request.get("mode"))
        largest = None if certificate is None else _largest(session, certificate.id)
        if certificate is None or largest is None:
            return found
        variance += (share * largest) ** 2
        named.append(
            {"item": item, "certificate": certificate.number, "revision": certificate.revision}
        )
    if not named:
        return found
    U = Decimal(text(root(variance * COVERAGE**2 * 100**2)))
    return found | {"reference": {"U_rel_pct": U, "k": Decimal(COVERAGE), "of": named}}


def _references(request: Mapping[str, Any]) -> list[tuple[str, Fraction]]:
    references = [
        (one["item"], Fraction(one.get("weight", 1))) for one in request.get("references", ())
    ]
    if not references and "machine" in request:
        return [(request["machine"], Fraction(1))]
    return references


def _in_force(session: Session, item: str, at_us: int, mode: str | None) -> Certificate | None:
    suits = true() if mode is None else Certificate.mode == mode
    return session.scalars(
        select(Certificate)
        .join(Item, Item.id == Certificate.item_id)
        .where(
            Item.code == item,
            Certificate.assigns_value.is_(True),
            Certificate.performed_us <= at_us,
            Certificate.serves_from_us <= at_us,
            or_(Certificate.serves_until_us.is_(None), Certificate.serves_until_us > at_us),
            or_(Certificate.mode.is_(None), suits),
        )
        .order_by(
            Certificate.performed_us.desc(), Certificate.revision.desc(), Certificate.number.desc()
        )
        .limit(1)
    ).first()


def _largest(session: Session, certificate: int) -> Fraction | None:
    """Return the largest U/k of a certificate over its forces, as a share; None if one has none."""
    rows = session.scalars(select(Result).where(Result.certificate_id == certificate)).all()
    for stage in VALUE_STAGES:
        shares = [_share(row) for row in rows if row.stage == stage and row.applied != 0]
        if shares:
            known = [one for one in shares if one is not None]
            return max(known) if len(known) == len(shares) else None
    return None


def _share(row: Result) -> Fraction | None:
    k = Fraction(row.k or COVERAGE)
    if row.U is not None and row.applied:
        return Fraction(row.U) / k / abs(Fraction(row.applied))
    return None if row.U_rel_pct is None else Fraction(row.U_rel_pct) / 100 / k
