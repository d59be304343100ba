"""Other items that could have the same thing wrong.

Similar cases are to be looked for (ISO/IEC 17025:2017, 8.7.1, from memory). Suggested, with
reasons in words: items of the same kind and type that share a batch, supplier or supplier's
certificate in their properties, and items whose external certificate comes from the same issuer,
most telling under the same number. It is a suggestion to look, not a finding.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from api.services.base.record import Record
from api.store.tables import Certificate, Item, Recall

SHARED = {
    "batch": "the same batch",
    "supplier_certificate": "the same supplier's certificate",
    "supplier": "the same supplier",
}
Theirs = aliased(Certificate)


def suggest(session: Session, recall: Recall) -> list[Record]:
    """Return the items like the faulty ones of a recall, those with most in common first."""
    codes = sorted({fault["item"] for fault in recall.faults if "item" in fault})
    found: dict[str, Record] = {}
    for item in session.scalars(select(Item).where(Item.code.in_(codes))):
        for other, reason in (*_alike(session, item), *_same_source(session, item)):
            if other.code not in codes:
                shown = found.setdefault(other.code, _shown(other))
                shown["reasons"].append(reason)
    return sorted(found.values(), key=lambda one: (-len(one["reasons"]), one["item"]))


def _shown(item: Item) -> Record:
    return {"item": item.code, "kind": item.kind, "type": item.type, "reasons": []}


def _alike(session: Session, item: Item) -> Iterable[tuple[Item, str]]:
    own = item.properties or {}
    telling = [name for name in SHARED if own.get(name) not in (None, "")]
    if not telling:
        return
    alike = select(Item).where(
        Item.kind == item.kind,
        Item.type.is_(None) if item.type is None else Item.type == item.type,
        Item.id != item.id,
        Item.properties.is_not(None),
    )
    for other in session.scalars(alike.order_by(Item.code)):
        for name in telling:
            if (other.properties or {}).get(name) == own[name]:
                yield other, f"{SHARED[name]} ({own[name]}) as {item.code}"


def _same_source(session: Session, item: Item) -> Iterable[tuple[Item, str]]:
    rows = session.execute(
        select(Item, Certificate.issuer, (Theirs.number == Certificate.number).label("same"))
        .add_columns(Certificate.number)
        .join(Theirs, Theirs.item_id == Item.id)
        .join(Certificate, Certificate.issuer == Theirs.issuer)
        .where(
            Certificate.item_id == item.id,
            Certificate.external.is_(True),
            Theirs.external.is_(True),
            Item.id != item.id,
        )
        .order_by(Item.code, Certificate.issuer, Certificate.number)
    )
    by_pair: dict[tuple[int, str], tuple[Item, str | None]] = {}
    for other, issuer, same, number in rows:
        known = by_pair.get((other.id, issuer))
        if known is None or (same and known[1] is None):
            by_pair[other.id, issuer] = (other, number if same else None)
    for (_, issuer), (other, number) in by_pair.items():
        if number is not None:
            yield other, f"calibrated under the same external certificate, {number}, as {item.code}"
        elif issuer:
            yield other, f"calibrated by the same external laboratory, {issuer}, as {item.code}"
