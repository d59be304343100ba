"""Customers, named as on their certificates."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue, NotFound
from api.services.base.record import Record
from api.store.chunks import chunks
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.tables import Customer

COLUMNS = ("contact", "email", "note")


def keys_of(session: Session, names: Iterable[str]) -> dict[str, int]:
    """Return the keys of customers by name, recording those that are new."""
    wanted = sorted(set(names))
    found = _known(session, wanted)
    missing = [name for name in wanted if name not in found]
    if missing:
        session.execute(insert(Customer), [{"name": name, "version": 1} for name in missing])
        found |= _known(session, missing)
    return found


def create(session: Session, customer: Record) -> Customer:
    """Record a customer with its contact."""
    if customer["name"] in _known(session, [customer["name"]]):
        issue = Issue("/name", "recorded already", "change it with PATCH", customer["name"])
        raise Conflict(f'customer "{customer["name"]}" is recorded already', [issue])
    created = Customer(name=customer["name"], **{c: customer.get(c) for c in COLUMNS})
    session.add(created)
    session.flush()
    journal_note(session, "customer", id=created.id, name=created.name)
    return created


def get(session: Session, key: int) -> Customer:
    """Return the customer with this key."""
    customer = session.get(Customer, key)
    if customer is None:
        raise NotFound(f"customer {key} is not recorded")
    return customer


def change(session: Session, customer: Customer, changes: Record) -> Customer:
    """Change how a customer is reached; its name stands on certificates and stays."""
    for name in COLUMNS:
        if name in changes:
            setattr(customer, name, changes[name])
    journal_note(session, "customer changed", id=customer.id, changed=sorted(changes))
    session.flush()
    return customer


def answer(customer: Customer) -> Record:
    """Return the customer as the API shows it."""
    shown = {"id": customer.id, "name": customer.name}
    shown |= {name: value for name in COLUMNS if (value := getattr(customer, name)) is not None}
    return shown | {"version": customer.version}


def _known(session: Session, names: list[str]) -> dict[str, int]:
    return {
        name: key
        for some in chunks(names)
        for name, key in session.execute(
            select(Customer.name, Customer.id).where(Customer.name.in_(some))
        )
    }


def find(
    session: Session, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of customers, by name."""
    rows, key = page(session, select(Customer), [Customer.name], after, limit)
    return [answer(row[0]) for row in rows], key


def customer_key(name: str) -> Any:
    """Scalar subquery of a customer's key by name."""
    return select(Customer.id).where(Customer.name == name).scalar_subquery()
