"""Persons, apart from keys: a key says which program asks, a person who answers for the change.

A key may be bound to one person, whom it then speaks for; a program that serves many people names
the one who is at work with each request (header ``Tracehold-Person``). Persons are not deleted:
records name them. Not checked: that the program told the truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue, NotFound, UnknownReference
from api.services.base.record import Record
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.spelling import folded
from api.store.tables import Person

COLUMNS = ("name", "office", "active")
# Offered on a page; another one is typed.
MOST = 200


def create(session: Session, sent: Record, now_us: int) -> Person:
    """Record a person; raises Conflict if the id is taken."""
    if _found(session, sent["id"]) is not None:
        issue = Issue("/id", "recorded already", "change it with PATCH", sent["id"])
        raise Conflict(f'person "{sent["id"]}" is recorded already', [issue])
    person = Person(
        code=sent["id"], name=sent["name"], office=sent.get("office"), recorded_us=now_us
    )
    session.add(person)
    session.flush()
    journal_note(session, "person", id=person.code, name=person.name)
    return person


def get(session: Session, code: str) -> Person:
    """Return the person of this id; raises NotFound."""
    person = _found(session, code)
    if person is None:
        raise NotFound(f'person "{code}" is not recorded')
    return person


def active(session: Session, code: str, place: str) -> Person:
    """Return a person who may act; raises UnknownReference that points at `place`."""
    person = _found(session, code)
    if person is None or not person.active:
        wrong = "is not recorded" if person is None else "is not active any more"
        remedy = "POST /v1/persons" if person is None else "name a person who is"
        raise UnknownReference(
            f'person "{code}" {wrong}', [Issue(place, f'person "{code}" {wrong}', remedy, code)]
        )
    return person


def none_kept(session: Session) -> bool:
    """Whether the laboratory keeps no record of persons, so that names stand for themselves."""
    return session.scalar(select(Person.id).limit(1)) is None


def in_words(session: Session, code: str) -> str:
    """Return the name and office of a person by id; the id itself where nobody has it."""
    person = _found(session, code)
    if person is None:
        return code
    return person.name if person.office is None else f"{person.name}, {person.office}"


def as_recorded(session: Session, said: str) -> str:
    """Return the name of the person of this id; what is nobody's id stays as it was said.

    Names stand in the records, as those of persons whom a key speaks for do, so that two records of
    one person are seen to be. Raises UnknownReference if that person is not active any more.
    """
    person = _found(session, said)
    return said if person is None else active(session, said, "/by").name


def choices(session: Session) -> list[tuple[str, str]]:
    """Return id and words of the persons who may act, for pages to choose from."""
    rows = session.scalars(select(Person).where(Person.active).order_by(Person.name).limit(MOST))
    return [
        (one.code, one.name if one.office is None else f"{one.name}, {one.office}") for one in rows
    ]


def change(session: Session, person: Person, changes: Record) -> Person:
    """Change what is known of a person; what earlier records say stays."""
    for name in COLUMNS:
        if name in changes:
            setattr(person, name, changes[name])
    journal_note(session, "person changed", id=person.code, changed=sorted(changes))
    session.flush()
    return person


def answer(person: Person) -> Record:
    """Return a person as the API shows it."""
    shown: Record = {"id": person.code} | {name: getattr(person, name) for name in COLUMNS}
    return {name: value for name, value in shown.items() if value is not None} | {
        "version": person.version
    }


def find(
    session: Session, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of persons, by id."""
    rows, key = page(session, select(Person), [Person.code], after, limit)
    return [answer(row[0]) for row in rows], key


def _found(session: Session, code: str) -> Person | None:
    """The person of this id, in whatever case it is written: one person has one id."""
    exact = session.scalar(select(Person).where(Person.code == code))
    if exact is not None:
        return exact
    wanted = folded(code)
    ids = session.execute(select(Person.id, Person.code))
    same = next((key for key, other in ids if folded(other) == wanted), None)
    return None if same is None else session.get_one(Person, same)
