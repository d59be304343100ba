"""Database sessions for views: one transaction around one service call."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Any

from flask import current_app, g, request
from sqlalchemy.orm import Session

from api.services import persons
from api.services.keys import KeyRecord
from api.store.database import Database
from api.store.journal import Author, note
from api.web.problems import Problem
from api.web.request_id import request_id

EXTENSION = "tracehold"
PERSON_HEADER = "Tracehold-Person"
REQUIRE_PERSON = "REQUIRE_PERSON"


def database() -> Database:
    """Database of the current app."""
    found: Database = current_app.extensions[EXTENSION]
    return found


def reading() -> AbstractContextManager[Session]:
    """Session on one snapshot; what it changes is thrown away."""
    return database().read()


def writing() -> AbstractContextManager[Session]:
    """Session that is one transaction: committed at the end, or rolled back whole.

    The journal gets a line in it that names the caller.
    """
    return database().write(author())


def note_question(what: str, **facts: Any) -> None:
    """Give the journal a line of a question whose answer is not stored."""
    with writing() as session:
        note(session, what, **facts)


def author() -> Author:
    """Who sends the current request, for the journal.

    The person is the one that the key is bound to, else the one that ``Tracehold-Person`` names.
    """
    key: KeyRecord | None = g.get("key")
    person = _person(key)
    return Author(
        operation=request.endpoint or request.method,
        path=request.path,
        key_id=None if key is None else key.public_id,
        key_name=None if key is None else key.name,
        person=person,
        request_id=request_id(),
        binding=person is not None,
    )


def _person(key: KeyRecord | None) -> str | None:
    bound = None if key is None else key.person
    named = request.headers.get(PERSON_HEADER)
    if named is None:
        if bound is None and current_app.config.get(REQUIRE_PERSON):
            raise Problem(
                "person-required", f"Nobody answers for this change: send {PERSON_HEADER}."
            )
        return bound
    with reading() as session:
        name: str = persons.active(session, named, "").name
    if bound is not None and name != bound:
        raise Problem("forbidden", f"The key speaks for {bound}, not for {name}.")
    return name
