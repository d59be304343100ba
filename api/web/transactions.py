"""Database sessions for views: one transaction around one service call."""

from __future__ import annotations

from contextlib import AbstractContextManager

from flask import current_app
from sqlalchemy.orm import Session

from api.store.database import Database

EXTENSION = "tracehold"


def database() -> Database:
    """Database of the current app."""
    found: Database = current_app.extensions[EXTENSION]
    return found


def reading() -> AbstractContextManager[Session]:
    """Session on one snapshot; what it changes is thrown away."""
    return database().read()


def writing() -> AbstractContextManager[Session]:
    """Session that is one transaction: committed at the end, or rolled back whole."""
    return database().write()
