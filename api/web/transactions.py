"""Database sessions for views: one transaction around one service call.

A request that is to be done once has one transaction for all it writes, its answer included, which
is committed when the answer is made (``OneTransaction``); each ``writing()`` then joins it.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack, nullcontext
from typing import Any

from flask import current_app, g, request
from sqlalchemy.orm import Session

from api.services.access import persons
from api.services.access.keys import KeyRecord
from api.store.database import Database
from api.store.journal import Author, note
from api.web.problems import Problem
from api.web.request_id import request_id

EXTENSION = "tracehold"
# Under this name `flask.g` holds the transaction that a request shares.
SHARED = "shared_transaction"
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
    shared: OneTransaction | None = g.get(SHARED)
    if shared is not None:
        return nullcontext(shared.session())
    return database().write(author())


def sharing() -> bool:
    """Whether whatever the current request writes shares one transaction."""
    return SHARED in g


class OneTransaction:
    """The one transaction of a request; opened by the first that writes in it.

    ``begin`` is called with the session when it is opened.
    """

    def __init__(self, begin: Callable[[Session], None]) -> None:
        self._begin = begin
        self._stack = ExitStack()
        self._session: Session | None = None

    def __enter__(self) -> OneTransaction:
        setattr(g, SHARED, self)
        return self

    def __exit__(self, *error: Any) -> bool | None:
        delattr(g, SHARED)
        return self._stack.__exit__(*error)

    def session(self) -> Session:
        """Session of the transaction."""
        if self._session is not None and not self._session.in_transaction():
            self._stack.close()  # what it held was taken back on purpose
            self._session = None
        if self._session is None:
            self._session = self._stack.enter_context(database().write(author()))
            self._begin(self._session)
        return self._session

    @property
    def is_open(self) -> bool:
        """Whether something may have been written that is not yet committed."""
        return self._session is not None and self._session.in_transaction()

    def take_back(self) -> None:
        """Undo whatever was written."""
        if self._session is not None:
            self._session.rollback()


def note_question(what: str, **facts: Any) -> None:
    """Give the journal a line of a question whose answer is not stored."""
    with writing() as session:
        note(session, what, **facts)


def author() -> Author:
    """Who sends the current request, for the journal.

    The person is the one that the key is bound to, else the one that ``Tracehold-Person`` names.
    """
    key: KeyRecord | None = g.get("key")
    g.person = person = _person(key)
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
