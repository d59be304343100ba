"""Which requirement counts for an instrument, and by what? The most specific one, never another's.

Choice: of the item itself, of its make and model for its rated capacity (compared exactly), of its
make and model, of its type and rated capacity, of its type. Make and model are compared but for
case and spacing. A record of another model never counts; that neighbours have one is said. Two
records that count alike are an error that names both.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from sqlalchemy import ColumnElement, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from api.errors import InvalidRecord, Issue
from api.rules.fitting.fit import same_word
from api.services.records.items import make_and_model, newtons
from api.store.fitting import Requirement
from api.store.tables import Item

Newer = aliased(Requirement)


class Subject(NamedTuple):
    """What a requirement is looked for: item by key, type, rated capacity; any may be None.

    `make` and `model` are those of the instrument.
    """

    item_id: int | None
    type: str | None
    capacity: str | None
    make: str | None = None
    model: str | None = None


# How a requirement counts for an instrument, the least specific first, and in words.
BASES = {
    "type": "its type",
    "type_capacity": "its type and rated capacity",
    "make_model": "its make and model",
    "make_model_capacity": "its make, model and rated capacity",
    "item": "the item itself",
}


class Choice(NamedTuple):
    """The requirement that counts, by what (`BASES`), and what else to know; or none."""

    row: Requirement | None
    basis: str | None
    notes: tuple[str, ...] = ()


def subject_of(item: Item) -> Subject:
    """Return what a requirement is looked for, of a recorded item."""
    return Subject(item.id, item.type, item.capacity, *make_and_model(item))


def since_us(session: Session, subject: Subject) -> int | None:
    """Return when the first requirement that counts for an instrument was recorded, if one is.

    Where several count alike, one of them is asked for all the same.
    """
    codes = [row.code for row in _best(_fitting(session, subject))]
    first = select(func.min(Requirement.recorded_us)).where(Requirement.code.in_(codes))
    return session.scalar(first) if codes else None


def choose(session: Session, subject: Subject, place: str = "") -> Choice:
    """Return the requirement that counts for an instrument, and by what.

    Raises
    ------
    InvalidRecord
        If several count alike; it names them. `place` is what its pointer says.
    """
    fitting = _fitting(session, subject)
    best = _best(fitting)
    if len(best) > 1:
        _refuse_ambiguous(best, max(fitting, key=_order)[0], place)
    row = best[0] if best else None
    basis = None if row is None else _basis(row, subject)
    return Choice(row, basis, tuple(_notes(session, subject, basis)))


def _refuse_ambiguous(rows: Sequence[Requirement], basis: str, place: str) -> None:
    named = " and ".join(f'"{row.code}"' for row in sorted(rows, key=lambda row: row.code))
    detail = f"requirements {named} count alike, by {BASES[basis]}"
    remedy = (
        "name the requirement that is meant, or record the next version of one of them for "
        "something more specific"
    )
    raise InvalidRecord(detail, [Issue(place, detail, remedy)])


def _order(one: tuple[str, Requirement]) -> int:
    return list(BASES).index(one[0])


def _best(fitting: Sequence[tuple[str, Requirement]]) -> list[Requirement]:
    """Return those that count most, by what they are about."""
    most = max(map(_order, fitting), default=None)
    return [one[1] for one in fitting if _order(one) == most]


def _fitting(session: Session, subject: Subject) -> list[tuple[str, Requirement]]:
    """Return the latest versions that are about an instrument, each with by what."""
    found = ((_basis(row, subject), row) for row in _about(session, subject))
    return [(basis, row) for basis, row in found if basis is not None]


def _about(session: Session, subject: Subject) -> Sequence[Requirement]:
    newer = exists().where(
        Newer.code == Requirement.code, Newer.requirement_version > Requirement.requirement_version
    )
    named: list[ColumnElement[bool]] = [Requirement.make.is_not(None)]
    if subject.item_id is not None:
        named.append(Requirement.item_id == subject.item_id)
    if subject.type is not None:
        named.append(Requirement.type == subject.type)
    return session.scalars(select(Requirement).where(or_(*named), ~newer)).all()


def _basis(row: Requirement, subject: Subject) -> str | None:
    """Return by what a requirement is about an instrument, None if it is not."""
    if row.item_id is not None:
        return "item" if row.item_id == subject.item_id else None
    by_capacity = row.capacity is not None
    if by_capacity and not _same_capacity(row, subject):
        return None
    if row.make is not None:
        if not (_same(row.make, subject.make) and _same(row.model, subject.model)):
            return None
        return "make_model_capacity" if by_capacity else "make_model"
    if row.type != subject.type:
        return None
    return "type_capacity" if by_capacity else "type"


def _same(one: str | None, other: str | None) -> bool:
    return one is not None and same_word(one, other)


def _same_capacity(row: Requirement, subject: Subject) -> bool:
    own = newtons(subject.capacity)
    return own is not None and own == newtons(row.capacity)


def _notes(session: Session, subject: Subject, basis: str | None) -> Iterator[str]:
    """Say that a model has no record of its own, and which neighbours have one."""
    if subject.make is None or subject.model is None or basis in _OF_ITS_OWN:
        return
    name = f"{subject.make} {subject.model}"
    others = [
        row
        for row in _about(session, subject)
        if _same(row.make, subject.make) and not _same(row.model, subject.model)
    ]
    if others:
        listed = ", ".join(sorted(f"{row.model} ({row.code})" for row in others))
        yield (
            f"No requirement is recorded for {name}; those of other models of {subject.make}, "
            f"{listed}, are not taken: neighbouring models take different pins."
        )


_OF_ITS_OWN = ("item", "make_model", "make_model_capacity")
