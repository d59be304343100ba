"""What was agreed for a calibration? Found when it is recorded and when it is issued.

A certificate keeps the version of the agreement, so that what is agreed later leaves its statement
as it is. Where no customer is named the owner of the item counts. Certificates of others, and
those of items of the laboratory's own, go by no agreement.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.base.recording import ItemFacts, Recording
from api.services.decisions.agreements import Book, Wanted, answers, reference, referred
from api.store.agreements import Agreement
from api.store.tables import Certificate, Customer, DecisionRule, Item, Result, Specification
from graph.moments import Moment


class Terms(NamedTuple):
    """What was agreed: rule by id and key, specification by id and version; what is kept of it."""

    kept: Record
    rule: str
    rule_id: int
    specification: str | None
    specification_version: int | None


@dataclass(slots=True)
class AgreedTerms:
    """Finds the terms of calibrations that are being recorded, asking for the agreements once."""

    recording: Recording
    _book: Book = field(init=False)
    _known: dict[int, Terms] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._book = Book(self.recording.session)

    def of(self, calibration: Record, item: ItemFacts, performed: Moment) -> Terms | None:
        """Return what was agreed for a calibration, None where nothing was."""
        name = calibration.get("customer") or item.owner
        if name is None or calibration["external"] or self._book.empty():
            return None
        order = calibration.get("order")
        row = self._book.of(Wanted(name, item.key, item.type, order, performed.start_us))
        return None if row is None else self._terms(row)

    def _terms(self, row: Agreement) -> Terms:
        if row.id not in self._known:
            session = self.recording.session
            given = None
            if row.specification_id is not None:
                given = session.get_one(Specification, row.specification_id)
            self._known[row.id] = Terms(
                reference(row),
                session.get_one(DecisionRule, row.rule_id).code,
                row.rule_id,
                None if given is None else given.code,
                None if given is None else given.spec_version,
            )
        return self._known[row.id]


def with_specification(result: Record, terms: Terms | None) -> Record:
    """Return a result that was taken from runs with the specification that was agreed.

    One that was sent with its numbers says itself whether it is judged, and by which limits.
    """
    limited = any(result.get(name) is not None for name in ("tolerance", "tolerance_rel_pct"))
    if limited or terms is None or terms.specification is None or not result.get("taken"):
        return result
    return result | {"tolerance": terms.specification}


def at_issue(session: Session, certificate: Certificate) -> Record | None:
    """Return what a certificate keeps of the agreement that holds for it as it is issued."""
    item, name = session.get_one(Item, certificate.item_id), None
    if certificate.customer_id is not None:
        name = session.get_one(Customer, certificate.customer_id).name
    name = name or item.owner
    if name is None or certificate.external:
        return None
    wanted = Wanted(name, item.id, item.type, certificate.order, certificate.performed_us)
    row = Book(session).of(wanted)
    return None if row is None else reference(row)


def in_words(session: Session, certificate: Certificate) -> str | None:
    """Say what was agreed with the customer, and whether another rule was used after all."""
    row = referred(session, certificate.agreement)
    if row is None:
        return None
    (agreed,) = answers(session, [row])
    named = f"agreement {agreed['id']}, version {agreed['version']}"
    used = set(
        session.scalars(select(Result.rule_id).where(Result.certificate_id == certificate.id))
    )
    if used <= {row.rule_id, None}:
        return f"The rule was agreed with {agreed['customer']} ({named})."
    rule = _versioned(agreed["rule"])
    return f"Not every rule used is the one agreed with {agreed['customer']} ({named}: {rule})."


def _versioned(one: Mapping[str, Any]) -> str:
    return f"rule {one['id']}, version {one['version']}"
