"""Database sessions for views: one transaction around one service call."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Any

from flask import current_app, g, request
from sqlalchemy.orm import Session

from api.services.keys import KeyRecord
from api.store.database import Database
from api.store.journal import Author, note
from api.web.request_id import request_id

EXTENSION = "tracehold"


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
    """Who sends the current request, for the journal."""
    key: KeyRecord | None = g.get("key")
    return Author(
        operation=request.endpoint or request.method,
        path=request.path,
        key_id=None if key is None else key.public_id,
        key_name=None if key is None else key.name,
        request_id=request_id(),
    )
